"""The checks between tables that the studio's files get, for what is changed in the database."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeVar

from api.wire import reading_of, said, written
from api.words import tell
from shared.errors import FolderError
from shared.files.cross_checks import check_loads, check_profiles, check_studio, check_works
from shared.files.fault_list import FaultList
from shared.files.loads_csv import Row
from shared.files.toml_tables import StudioTables, Table
from shared.loads import Load
from shared.record import Record
from shared.studio import Place, Studio

RecordT = TypeVar("RecordT", bound=Record)


class LoadRow(Row):
    """A load as a row whose faults name the load."""

    def place(self, column: str) -> str:
        """The load's id and the key."""
        return f"{self.cells.get('id', self.number)} › {column}"


def check_whole(studio: Studio, loads: Sequence[Load]) -> None:
    """Refuse a studio whose tables, profiles and loads do not fit together.

    Raises
    ------
    FolderError
        With every fault.
    """
    tables, profiles = _tables(studio)
    faults = {name: FaultList(name) for name in ("studio", "profiles", "loads")}
    if not studio.circuits:
        faults["studio"].add("circuits", tell("refused.is_missing"), tell("refused.keep_least_one"))
    if not studio.kilns:
        faults["studio"].add("kilns", tell("refused.is_missing"), tell("refused.keep_least_one_kiln"))
    check_studio(tables, faults["studio"])
    check_works(tables, profiles, faults["studio"])
    check_profiles(profiles, tables, faults["profiles"])
    check_loads(
        [_row(number, load, studio.place) for number, load in enumerate(loads)], tables, profiles, faults["loads"]
    )
    _raise(faults.values())


def check_load(load: Load, others: Sequence[Load], studio: Studio) -> None:
    """Refuse a load that does not fit the studio, its profiles and the loads that wait.

    Raises
    ------
    FolderError
        With every fault of this load.
    """
    tables, profiles = _tables(studio)
    faults = FaultList("load")
    chain = [other for other in others if other.after is not None or other.id == load.after]
    rows = [_row(number, other, studio.place) for number, other in enumerate((*chain, load))]
    check_loads(rows, tables, profiles, faults)
    _raise([faults], load.id)


def _raise(lists: Any, only: str | None = None) -> None:
    found = [fault for faults in lists for fault in faults.listed()]
    if only is not None:
        found = [fault for fault in found if fault.place.startswith(f"{only} › ")]
    if found:
        raise FolderError(found)


def _row(number: int, load: Load, place: Place) -> Row:
    cells = {
        key: ";".join(value) if isinstance(value, list) else str(value)
        for key, value in said(load, place).items()
        if value not in ("", [])
    }
    return LoadRow(number, cells, load)


def _tables(studio: Studio) -> tuple[StudioTables, Sequence[Table[Any]]]:
    place = studio.place

    def one(name: str, record: RecordT) -> Table[RecordT]:
        return Table(name, written(record, place), record)

    def many(name: str, records: Sequence[RecordT]) -> list[Table[RecordT]]:
        return [one(f"{name} {getattr(record, 'id', number)}", record) for number, record in enumerate(records, 1)]

    tables = StudioTables(
        reading=reading_of(place),
        place=one("studio", place),
        shifts=many("shifts", studio.shifts),
        closed=many("closed", studio.closed),
        absences=many("absences", studio.absences),
        circuits=many("circuits", studio.circuits),
        kilns=many("kilns", studio.kilns),
        outages=many("outages", studio.outages),
        tariff=one("tariff", studio.tariff),
        rules=one("rules", studio.rules),
        quiet=many("quiet", studio.quiet),
        clean_outs=many("clean_outs", studio.clean_outs),
        prices=one("prices", studio.prices),
    )
    return tables, many("profiles", studio.profiles)
