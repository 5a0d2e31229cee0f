"""A studio folder: read with all its faults at once, and written whole."""

from __future__ import annotations

import stat
from collections.abc import Mapping, Sequence
from pathlib import Path

from shared.errors import Fault, FolderError, RequestError
from shared.files.cross_checks import check_loads, check_profiles, check_studio, check_works
from shared.files.fault_list import FaultList
from shared.files.loads_csv import load_rows
from shared.files.loads_writing import loads_text
from shared.files.text import decoded, read_text, write_whole
from shared.files.toml_tables import Reading, StudioTables, Table, parsed_toml, profile_tables, studio_tables
from shared.files.toml_writing import profiles_text, studio_text
from shared.files.values import clipped
from shared.loads import Load
from shared.profiles import Profile
from shared.studio import Prices, Rules, Studio, Tariff
from shared.texts import say

STUDIO_FILE, PROFILES_FILE, LOADS_FILE = "studio.toml", "profiles.toml", "loads.csv"
FILES = (STUDIO_FILE, PROFILES_FILE, LOADS_FILE)


def read_folder(path: Path) -> tuple[Studio, tuple[Load, ...]]:
    """The studio and its waiting loads, from a studio folder.

    Parameters
    ----------
    path
        The folder with studio.toml, profiles.toml and loads.csv.

    Raises
    ------
    FolderError
        With every fault of the folder. Of a file that is no TOML, only the first fault can be known.
    """
    path = Path(path)
    _require_folder(path)
    lists = {name: FaultList(name) for name in FILES}
    return understood({name: read_text(path / name, lists[name]) for name in FILES}, lists)


def understood(texts: Mapping[str, str | None], lists: Mapping[str, FaultList]) -> tuple[Studio, tuple[Load, ...]]:
    """The studio and loads that the three texts mean; a text that could not be read has its fault listed already.

    Raises
    ------
    FolderError
        With every fault of the three.
    """
    in_studio, in_profiles, in_loads = (lists[name] for name in FILES)
    studio = _studio(texts[STUDIO_FILE], in_studio)
    reading = studio.reading if studio is not None else Reading(unit_known=False)
    profiles = _profiles(texts[PROFILES_FILE], reading, in_profiles)
    loads_csv = texts[LOADS_FILE]
    rows = load_rows(loads_csv, reading, in_loads) if loads_csv is not None else None

    if studio is not None:
        check_studio(studio, in_studio)
        if profiles is not None:
            check_works(studio, profiles, in_studio)
    if profiles is not None:
        check_profiles(profiles, studio, in_profiles)
    if rows is not None:
        check_loads(rows, studio, profiles, in_loads)

    faults = [fault for name in FILES for fault in lists[name].listed()]
    if faults or studio is None or profiles is None or rows is None:
        raise FolderError(faults)
    return _assembled(studio, profiles), tuple(row.load for row in rows if row.load is not None)


def write_folder(path: Path, studio: Studio, loads: Sequence[Load]) -> None:
    """Write a studio folder so that ``read_folder`` gives the same studio and loads.

    Temperatures are written to a millionth of a degree in the studio's unit.

    A file that says the same already is left as it is, with its comments. Each other file is replaced as a whole,
    and none is before all of them are safe on the disk and have been read back. The folder is made if need be.

    Raises
    ------
    FolderError
        If what would be written could not be read again; the folder is then as before.
    RequestError
        If the folder cannot be written.
    """
    path = Path(path)
    texts = {
        STUDIO_FILE: studio_text(studio),
        PROFILES_FILE: profiles_text(studio),
        LOADS_FILE: loads_text(loads, studio.place.temperature, studio.place.zone),
    }
    lists = {name: FaultList(name) for name in FILES}
    understood({name: decoded(text.encode(), lists[name]) for name, text in texts.items()}, lists)
    kept = _unchanged(path, texts)
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RequestError(say("fault.folder_cannot_made", folder=clipped(path.name), reason=error.strerror)) from None
    write_whole({path / name: text for name, text in texts.items() if name not in kept})


def _unchanged(path: Path, texts: dict[str, str]) -> set[str]:
    """The files there that mean already what their new text says."""
    try:
        studio, loads = read_folder(path)
    except FolderError:
        return set()
    there = {
        STUDIO_FILE: studio_text(studio),
        PROFILES_FILE: profiles_text(studio),
        LOADS_FILE: loads_text(loads, studio.place.temperature, studio.place.zone),
    }
    return {name for name, text in there.items() if text == texts[name]}


def _require_folder(path: Path) -> None:
    try:
        mode = path.stat().st_mode
    except PermissionError:
        problem, remedy = say("fault.may_not_be"), say("fault.give_this_user")
    except (OSError, ValueError):
        problem, remedy = say("fault.is_not_there_2"), say("fault.name_folder_that_holds")
    else:
        if stat.S_ISDIR(mode):
            return
        problem, remedy = say("fault.is_not_a_folder"), say("fault.name_folder_that")
    raise FolderError([Fault(clipped(path.name or str(path)), "", problem, remedy)])


def _studio(text: str | None, faults: FaultList) -> StudioTables | None:
    document = parsed_toml(text, faults) if text is not None else None
    return studio_tables(document, text, faults) if text is not None and document is not None else None


def _profiles(text: str | None, reading: Reading, faults: FaultList) -> Sequence[Table[Profile]] | None:
    document = parsed_toml(text, faults) if text is not None else None
    return profile_tables(document, text, reading, faults) if text is not None and document is not None else None


def _assembled(studio: StudioTables, profiles: Sequence[Table[Profile]]) -> Studio:
    if studio.place is None or studio.place.record is None:
        raise AssertionError("a folder without faults has its [studio] table")
    return Studio(
        place=studio.place.record,
        shifts=tuple(table.record for table in studio.shifts if table.record is not None),
        closed=tuple(table.record for table in studio.closed if table.record is not None),
        absences=tuple(table.record for table in studio.absences if table.record is not None),
        circuits=tuple(table.record for table in studio.circuits if table.record is not None),
        kilns=tuple(table.record for table in studio.kilns if table.record is not None),
        outages=tuple(table.record for table in studio.outages if table.record is not None),
        quiet=tuple(table.record for table in studio.quiet if table.record is not None),
        clean_outs=tuple(table.record for table in studio.clean_outs if table.record is not None),
        profiles=tuple(table.record for table in profiles if table.record is not None),
        tariff=(studio.tariff.record if studio.tariff else None) or Tariff(),
        rules=(studio.rules.record if studio.rules else None) or Rules(),
        prices=(studio.prices.record if studio.prices else None) or Prices(),
    )
