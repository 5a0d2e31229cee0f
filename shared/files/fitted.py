"""A kiln's fit, put into studio.toml without touching anything else there, comments and spacing included."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import tomli

from shared.errors import FolderError, RequestError
from shared.files.fault_list import FaultList
from shared.files.folder import STUDIO_FILE, read_folder, write_folder
from shared.files.text import read_text, write_whole
from shared.files.toml_writing import fitted_value
from shared.files.values import listing, nearest, shown
from shared.kilns import Fitted
from shared.texts import say

_HEADER = re.compile(r"[ \t]*\[")
_KILN_HEADER = re.compile(r"[ \t]*\[\[[ \t]*kilns[ \t]*\]\]")
_FITTED = re.compile(r"^([ \t]*)fitted[ \t]*=[ \t]*\{[^}]*\}", re.MULTILINE)


def write_fitted(path: Path, kiln_id: str, fitted: Fitted) -> None:
    """Replace one kiln's ``fitted`` in the studio.toml of a folder.

    Where the file is written in a way that allows no safe replacement, the whole file is written anew, which loses
    its comments and nothing else.

    Raises
    ------
    FolderError
        If the folder has faults.
    RequestError
        If the studio has no such kiln, or the file cannot be written.
    """
    path = Path(path)
    studio, loads = read_folder(path)
    if kiln_id not in studio.kiln_by_id:
        meant = nearest(kiln_id, studio.kiln_by_id)
        hint = (
            say("fault.did_you_mean", meant=meant)
            if meant
            else say("fault.name_one_of", kilns=listing(studio.kiln_by_id))
        )
        raise RequestError(say("fault.studio_no_kiln", kiln=shown(kiln_id), hint=hint))
    number = next(index for index, kiln in enumerate(studio.kilns) if kiln.id == kiln_id)
    faults = FaultList(STUDIO_FILE)
    text = read_text(path / STUDIO_FILE, faults)
    if text is None:
        raise FolderError(faults.listed())
    replaced = _replaced(text, number, fitted_value(fitted))
    if replaced is not None:
        write_whole({path / STUDIO_FILE: replaced})
        return
    kilns = tuple(k.model_copy(update={"fitted": fitted}) if k.id == kiln_id else k for k in studio.kilns)
    write_folder(path, studio.model_copy(update={"kilns": kilns}), loads)


def _replaced(text: str, number: int, value: str) -> str | None:
    """The text with the value in kiln ``number``; None unless that, and only that, has changed."""
    lines = text.splitlines(keepends=True)
    headers = [index for index, line in enumerate(lines) if _KILN_HEADER.match(line)]
    if number >= len(headers):
        return None
    begin = headers[number] + 1
    end = next((index for index in range(begin, len(lines)) if _HEADER.match(lines[index])), len(lines))
    section = "".join(lines[begin:end])
    if _FITTED.search(section):
        section = _FITTED.sub(lambda match: f"{match[1]}fitted = {value}", section, count=1)
    else:
        # After the kiln's last key, before the blank lines and comments that lead to the next table.
        while end > begin and (not lines[end - 1].strip() or lines[end - 1].lstrip().startswith("#")):
            end -= 1
        ending = "\r\n" if lines[begin - 1].endswith("\r\n") else "\n"
        section = "".join(lines[begin:end])
        section += ("" if section.endswith("\n") or not section else ending) + f"fitted = {value}{ending}"
    candidate = "".join([*lines[:begin], section, *lines[end:]])
    return candidate if _only_that_changed(text, candidate, number, value) else None


def _only_that_changed(text: str, candidate: str, number: int, value: str) -> bool:
    try:
        wanted: dict[str, Any] = tomli.loads(text)
        wanted["kilns"][number]["fitted"] = tomli.loads(f"fitted = {value}")["fitted"]
        return bool(tomli.loads(candidate) == wanted)
    except (tomli.TOMLDecodeError, LookupError, TypeError):
        return False
