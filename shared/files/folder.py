"""A studio folder: read with all its faults at once."""

from __future__ import annotations

import stat
from pathlib import Path

from shared.errors import Fault, FolderError
from shared.files.cross_checks import check_loads, check_profiles, check_quiet, check_studio
from shared.files.fault_list import FaultList
from shared.files.loads_csv import Row, load_rows
from shared.files.text import read_text
from shared.files.toml_tables import Reading, StudioTables, Table, parsed_toml, profile_tables, studio_tables
from shared.loads import Load
from shared.profiles import Profile
from shared.studio import Prices, Rules, Studio, Tariff

STUDIO_FILE, PROFILES_FILE, LOADS_FILE = "studio.toml", "profiles.toml", "loads.csv"


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
    in_studio, in_profiles, in_loads = (FaultList(name) for name in (STUDIO_FILE, PROFILES_FILE, LOADS_FILE))
    studio = _studio(path, in_studio)
    reading = studio.reading if studio is not None else Reading(unit_known=False)
    profiles = _profiles(path, reading, in_profiles)
    rows = _rows(path, reading, in_loads)

    if studio is not None:
        check_studio(studio, in_studio)
        if profiles is not None:
            check_quiet(studio, profiles, in_studio)
    if profiles is not None:
        check_profiles(profiles, studio, in_profiles)
    if rows is not None:
        check_loads(rows, studio, profiles, in_loads)

    faults = [*in_studio.listed(), *in_profiles.listed(), *in_loads.listed()]
    if faults or studio is None or profiles is None or rows is None:
        raise FolderError(faults)
    return _assembled(studio, profiles), tuple(row.load for row in rows if row.load is not None)


def _require_folder(path: Path) -> None:
    try:
        mode = path.stat().st_mode
    except PermissionError:
        problem, remedy = "may not be opened", "give this user the right to open it"
    except (OSError, ValueError):
        problem, remedy = "is not there", "name the folder that holds studio.toml"
    else:
        if stat.S_ISDIR(mode):
            return
        problem, remedy = "is not a folder", "name the folder that holds studio.toml, not a file"
    raise FolderError([Fault(path.name or str(path), "", problem, remedy)])


def _studio(path: Path, faults: FaultList) -> StudioTables | None:
    text = read_text(path / STUDIO_FILE, faults)
    document = parsed_toml(text, faults) if text is not None else None
    return studio_tables(document, text, faults) if text is not None and document is not None else None


def _profiles(path: Path, reading: Reading, faults: FaultList) -> list[Table[Profile]] | None:
    text = read_text(path / PROFILES_FILE, faults)
    document = parsed_toml(text, faults) if text is not None else None
    if text is None or document is None:
        return None
    return list(profile_tables(document, text, reading, faults))


def _rows(path: Path, reading: Reading, faults: FaultList) -> list[Row] | None:
    text = read_text(path / LOADS_FILE, faults)
    return load_rows(text, reading, faults) if text is not None else None


def _assembled(studio: StudioTables, profiles: list[Table[Profile]]) -> Studio:
    if studio.place is None or studio.place.record is None:
        raise AssertionError("a folder without faults has its [studio] table")
    return Studio(
        place=studio.place.record,
        shifts=tuple(table.record for table in studio.shifts if table.record is not None),
        closed=tuple(table.record for table in studio.closed if table.record is not None),
        circuits=tuple(table.record for table in studio.circuits if table.record is not None),
        kilns=tuple(table.record for table in studio.kilns if table.record is not None),
        outages=tuple(table.record for table in studio.outages if table.record is not None),
        quiet=tuple(table.record for table in studio.quiet if table.record is not None),
        profiles=tuple(table.record for table in profiles if table.record is not None),
        tariff=(studio.tariff.record if studio.tariff else None) or Tariff(),
        rules=(studio.rules.record if studio.rules else None) or Rules(),
        prices=(studio.prices.record if studio.prices else None) or Prices(),
    )
