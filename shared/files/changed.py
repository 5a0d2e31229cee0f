"""A studio folder with a file of changes laid over it: what a studio would be with one more kiln, or other hours.

The file of changes is a part of a studio.toml:

- ``[[kilns]]`` and ``[[circuits]]`` are merged by ``id``: of one that is there the keys given are replaced; one that is
  not is added, as a whole or with ``like = "K1"``, which takes every key that is not given from that one. ``remove =
  true`` takes one away.
- ``[[shifts]]``, ``[[closed]]``, ``[[absences]]``, ``[[outages]]``, ``[[quiet]]`` and ``[[clean_outs]]`` have no
  ids: they are added to those there, or replace them where the file says, at its top, ``replace = ["shifts"]``.
- ``[tariff]``, ``[rules]``, ``[prices]`` and ``[studio]`` are merged key by key (``bands`` of the tariff as a whole).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import tomli
import tomli_w

from shared.errors import Fault, FolderError
from shared.files.fault_list import FaultList
from shared.files.folder import FILES, PROFILES_FILE, STUDIO_FILE, read_folder, understood
from shared.files.places import place_of
from shared.files.text import read_text
from shared.files.toml_tables import parsed_toml
from shared.files.values import clipped, nearest, shown
from shared.files.wording import unknown_key
from shared.studio import Studio
from shared.texts import say

BY_ID = ("circuits", "kilns")
LISTS = ("shifts", "closed", "absences", "outages", "quiet", "clean_outs")
TABLES = ("studio", "tariff", "rules", "prices")


def read_changed(folder: Path, changes: Path) -> Studio:
    """The studio of a folder as it would be with the changes of a file.

    Raises
    ------
    FolderError
        With every fault of the folder, or else of the changes.
    """
    folder, changes = Path(folder), Path(changes)
    read_folder(folder)
    faults = FaultList(clipped(changes.name))
    text = read_text(changes, faults)
    if text is None or parsed_toml(text, faults) is None:
        raise FolderError(faults.listed())
    lists = {name: FaultList(name) for name in FILES}
    texts = {name: read_text(folder / name, lists[name]) for name in FILES}
    # Both are known to be TOML by now; the values as written are merged, and judged together below.
    merged = _merged(tomli.loads(texts[STUDIO_FILE] or ""), tomli.loads(text), faults)
    if faults.count:
        raise FolderError(faults.listed())
    try:
        studio, _ = understood({**texts, STUDIO_FILE: tomli_w.dumps(merged)}, lists)
    except FolderError as error:
        # The folder by itself has no fault, so whatever is wrong now comes from the changes.
        raise FolderError([_of_changes(fault, faults.file) for fault in error.faults]) from None
    return studio


def _of_changes(fault: Fault, file: str) -> Fault:
    if fault.file == STUDIO_FILE:
        return Fault(file, fault.place, fault.problem, fault.remedy)
    what = PROFILES_FILE if fault.file == PROFILES_FILE else fault.file
    return Fault(file, say("fault.with_it", what=what, place=fault.place), fault.problem, fault.remedy)


def _merged(there: dict[str, Any], said: dict[str, Any], faults: FaultList) -> dict[str, Any]:
    merged = dict(there)
    replaced = said.get("replace", [])
    if not isinstance(replaced, list) or any(name not in LISTS for name in replaced):
        faults.add("replace", say("fault.is", value=shown(replaced)), say("fault.write_list_some", lists=tuple(LISTS)))
        replaced = []
    for name, value in said.items():
        if name == "replace":
            continue
        if name in BY_ID:
            merged[name] = _by_id(name, there.get(name, []), value, faults)
        elif name in LISTS:
            if not isinstance(value, list):
                faults.add(
                    name, say("fault.not_list_tables", value=shown(value)), say("fault.write_each_as", name=name)
                )
                continue
            merged[name] = [*([] if name in replaced else there.get(name, [])), *value]
        elif name in TABLES:
            if not isinstance(value, dict):
                faults.add(name, say("fault.is_not_one", value=shown(value)), say("fault.write_it_once", name=name))
                continue
            merged[name] = {**there.get(name, {}), **value}
        else:
            faults.add(clipped(name), *unknown_key(name, (*BY_ID, *LISTS, *TABLES, "replace"), "table"))
    for name in replaced:
        if name not in said:
            merged.pop(name, None)
    return merged


def _by_id(name: str, there: list[dict[str, Any]], said: object, faults: FaultList) -> list[dict[str, Any]]:
    if not isinstance(said, list) or not all(isinstance(item, dict) for item in said):
        faults.add(name, say("fault.not_list_tables", value=shown(said)), say("fault.write_each_as", name=name))
        return there
    tables = {str(table.get("id")): dict(table) for table in there}
    for number, item in enumerate(said):
        given = dict(item)
        own = given.get("id")
        if not isinstance(own, str) or not own.strip():
            faults.add(place_of(name, number), say("fault.has_no_id"), say("fault.write_id_one"))
            continue
        like, remove = given.pop("like", None), given.pop("remove", False)
        if like is not None and like not in tables:
            meant = nearest(str(like), list(tables))
            remedy = say("fault.did_you_mean", meant=meant) if meant else say("fault.there_are", tables=tuple(tables))
            faults.add(f"{place_of(name, number, own)} › like", say("fault.is_not_there", value=shown(like)), remedy)
            continue
        if remove is True:
            if tables.pop(own, None) is None:
                faults.add(
                    f"{place_of(name, number, own)} › remove",
                    say("fault.is_not_there_2"),
                    say("fault.there_are", tables=tuple(tables)),
                )
            continue
        base = dict(tables[str(like)]) if like is not None else tables.get(own, {})
        if like is not None:
            base.pop("name", None)
        tables[own] = {**base, **given, "id": own}
    return list(tables.values())
