"""studio.toml and profiles.toml, read table by table, so that one faulty table hides no other fault."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Generic, TypeVar
from zoneinfo import ZoneInfo, available_timezones

import tomli
from pydantic import ValidationError
from pydantic_core import ErrorDetails

from shared.files.examples import TOML_EXAMPLES
from shared.files.fault_list import FaultList
from shared.files.places import place_of, steps
from shared.files.toml_words import words_of
from shared.files.values import Odd, clipped, nearest, shown, tamed
from shared.files.wording import keys_of, plain_words, unknown_key
from shared.kilns import Circuit, Fitted, Kiln
from shared.profiles import Profile, Segment, SizeRow
from shared.record import Record
from shared.studio import Absence, Band, CleanOut, Closed, Outage, Place, Prices, Quiet, Rules, Shift, Tariff
from shared.texts import say
from shared.units import TemperatureUnit

FLAGS = frozenset({"unattended", "attend_end", "vented", "vent", "one_family", "unattended_start"})
"""The keys that hold true or false."""

EARLIEST_YEAR, LATEST_YEAR = 1990, 2200
"""The years that a studio can mean; the same as those of its times (``shared.clock.read_moment``)."""

_INNER: dict[type[Record], dict[str, type[Record]]] = {
    Kiln: {"fitted": Fitted},
    Tariff: {"bands": Band},
    Profile: {"sizes": SizeRow, "segments": Segment},
    SizeRow: {"segments": Segment},
}
"""Which tables lie inside which."""

RecordT = TypeVar("RecordT", bound=Record)


@dataclass(frozen=True)
class Reading:
    """How values are to be understood: the validation context of one studio.

    ``unit_known`` is False where the studio's own table does not say it rightly: then no temperature can be judged.
    """

    unit: TemperatureUnit = "C"
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))
    unit_known: bool = True

    @property
    def context(self) -> dict[str, Any]:
        """What the vocabulary's types ask for."""
        return {"temperature": self.unit, "zone": self.zone}


@dataclass(frozen=True)
class Table(Generic[RecordT]):
    """One table of a file: where it stands, what is written there, and the record if it is a right one."""

    place: str
    raw: dict[str, Any]
    record: RecordT | None

    def text(self, key: str) -> str | None:
        """A text value as written, also from a table that is faulty elsewhere."""
        value = self.raw.get(key)
        return value.strip() if isinstance(value, str) and value.strip() else None

    def texts(self, key: str) -> list[str]:
        """The texts of a list as written."""
        value = self.raw.get(key)
        return [item.strip() for item in value if isinstance(item, str)] if isinstance(value, list) else []

    def lost(self, key: str) -> bool:
        """Whether a faulty table may mean to say this somewhere, but does not where it should."""
        return self.record is None and key not in self.raw

    def stray_texts(self) -> list[str]:
        """Whatever a table without an id might mean for its id."""
        return [str(value).strip() for value in self.raw.values() if isinstance(value, str | int)]


@dataclass(frozen=True)
class StudioTables:
    """studio.toml as far as it could be read."""

    reading: Reading
    place: Table[Place] | None
    shifts: Sequence[Table[Shift]]
    closed: Sequence[Table[Closed]]
    absences: Sequence[Table[Absence]]
    circuits: Sequence[Table[Circuit]]
    kilns: Sequence[Table[Kiln]]
    outages: Sequence[Table[Outage]]
    tariff: Table[Tariff] | None
    rules: Table[Rules] | None
    quiet: Sequence[Table[Quiet]]
    clean_outs: Sequence[Table[CleanOut]]
    prices: Table[Prices] | None


_STUDIO_KEYS = (
    "studio",
    "shifts",
    "closed",
    "absences",
    "circuits",
    "kilns",
    "outages",
    "tariff",
    "rules",
    "quiet",
    "clean_outs",
    "prices",
)


def parsed_toml(text: str, faults: FaultList) -> dict[str, Any] | None:
    """A TOML document, made harmless; None, and a fault, where it is none."""
    try:
        document = tomli.loads(text)
    except tomli.TOMLDecodeError as error:
        faults.add(
            say("fault.line_column", line=error.lineno, column=error.colno) if error.lineno else "",
            *words_of(error.msg, text, error.lineno, error.colno),
        )
        return None
    except RecursionError:
        faults.add("", say("fault.holds_lists_tables"), say("fault.write_studio_folders"))
        return None
    except ValueError:
        faults.add("", say("fault.holds_number_date"), say("fault.write_numbers_most"))
        return None
    tame = tamed(document, FLAGS)
    return tame if isinstance(tame, dict) else {}


def studio_tables(document: dict[str, Any], text: str, faults: FaultList) -> StudioTables:
    """Every table of studio.toml, each validated on its own."""
    reading = _reading(document.get("studio"))
    reader = _Reader(document, text, reading, faults)
    reader.refuse_unknown(_STUDIO_KEYS)
    return StudioTables(
        reading=reading,
        place=reader.table("studio", Place, required=True),
        shifts=reader.tables("shifts", Shift),
        closed=reader.tables("closed", Closed),
        absences=reader.tables("absences", Absence),
        circuits=reader.tables("circuits", Circuit, required=True),
        kilns=reader.tables("kilns", Kiln, required=True),
        outages=reader.tables("outages", Outage),
        tariff=reader.table("tariff", Tariff),
        rules=reader.table("rules", Rules),
        quiet=reader.tables("quiet", Quiet),
        clean_outs=reader.tables("clean_outs", CleanOut),
        prices=reader.table("prices", Prices),
    )


def profile_tables(
    document: dict[str, Any], text: str, reading: Reading, faults: FaultList
) -> Sequence[Table[Profile]]:
    """Every profile of profiles.toml, each validated on its own."""
    reader = _Reader(document, text, reading, faults)
    reader.refuse_unknown(("profiles",))
    return reader.tables("profiles", Profile)


def _reading(table: object) -> Reading:
    if not isinstance(table, dict):
        return Reading(unit_known=False)
    unit, zone = table.get("temperature", "C"), table.get("timezone")
    known_zone = isinstance(zone, str) and zone.strip() in available_timezones()
    return Reading(
        unit="F" if unit == "F" else "C",
        zone=ZoneInfo(zone.strip()) if isinstance(zone, str) and known_zone else ZoneInfo("UTC"),
        unit_known=unit in ("C", "F"),
    )


class _Reader:
    """Reads the tables of one document."""

    def __init__(self, document: dict[str, Any], text: str, reading: Reading, faults: FaultList) -> None:
        self.document, self.text, self.reading, self.faults = document, text, reading, faults

    def refuse_unknown(self, known: Sequence[str]) -> None:
        for key in self.document:
            if self.faults.hopeless:
                break
            if key not in known:
                self.faults.add(clipped(key), *unknown_key(key, known, "table"))

    def table(self, name: str, model: type[RecordT], required: bool = False) -> Table[RecordT] | None:
        raw = self.document.get(name)
        if raw is None:
            if required:
                self.faults.add(name, say("fault.is_missing"), say("fault.write_the_table", name=name))
            return None
        if not isinstance(raw, dict):
            self.faults.add(name, say("fault.is_not_one", value=shown(raw)), say("fault.write_it_once", name=name))
            return None
        return self._validated(name, name, raw, model)

    def tables(self, name: str, model: type[RecordT], required: bool = False) -> list[Table[RecordT]]:
        raw = self.document.get(name, [])
        if not isinstance(raw, list):
            self.faults.add(name, say("fault.not_list_tables", value=shown(raw)), say("fault.write_each_as", name=name))
            return []
        if required and not raw:
            self.faults.add(name, say("fault.is_missing"), say("fault.write_least_one_table", name=name))
        lines = self._lines(name, len(raw))
        found = []
        for number, item in enumerate(raw):
            if self.faults.hopeless:
                break
            place = place_of(name, number, line=lines[number] if lines else None)
            if not isinstance(item, dict):
                self.faults.add(
                    place, say("fault.is_not_a_table", value=shown(item)), say("fault.write_keys_below", name=name)
                )
                continue
            label = item.get("id")
            if isinstance(label, str) and label.strip():
                place = place_of(name, number, label.strip())
            found.append(self._validated(name, place, item, model))
        return found

    def _lines(self, name: str, count: int) -> list[int]:
        # Only where the headers can be counted one for one; tables may also be written inline.
        header = re.compile(rf"\s*\[\[\s*{name}\s*\]\]")
        lines = [number for number, line in enumerate(self.text.split("\n"), 1) if header.match(line)]
        return lines if len(lines) == count else []

    def _validated(self, name: str, place: str, raw: dict[str, Any], model: type[RecordT]) -> Table[RecordT]:
        try:
            record = model.model_validate(
                _dated(raw, model), by_alias=True, by_name=False, context=self.reading.context
            )
        except ValidationError as error:
            for detail in told_once(error.errors(include_url=False)):
                self._tell(name, place, detail, model)
            return Table(place, raw, None)
        return Table(place, raw, record)

    def _tell(self, name: str, place: str, error: ErrorDetails, model: type[Record]) -> None:
        if error["type"] == "temperature" and not self.reading.unit_known:
            return
        keys = [part for part in error["loc"] if isinstance(part, str)]
        key = keys[-1] if keys else ""
        problem, remedy = plain_words(error, TOML_EXAMPLES.get(f"{name}.{key}", ""), keys_of(_table_at(model, keys)))
        if error["type"] == "zone" and isinstance(error["input"], str):
            meant = nearest(error["input"], sorted(available_timezones()))
            remedy = say("fault.did_you_mean", meant=meant) if meant else remedy
        self.faults.add(" › ".join([place, *steps(error["loc"])]), problem, remedy)


def told_once(errors: Sequence[ErrorDetails]) -> list[ErrorDetails]:
    """The errors without the missing keys that stand there misspelt: the misspelling is told of."""
    missing = [error for error in errors if error["type"] == "missing"]
    misspelt = {
        (error["loc"][:-1], nearest(str(error["loc"][-1]), [str(lack["loc"][-1]) for lack in missing]))
        for error in errors
        if error["type"] == "extra_forbidden"
    }
    return [e for e in errors if e["type"] != "missing" or (e["loc"][:-1], str(e["loc"][-1])) not in misspelt]


def key_path(location: Sequence[int | str]) -> Iterator[str]:
    """The steps of a location as people write them: ``sizes[1]``, ``segments[0]``, ``rate``."""
    step = ""
    for part in location:
        if isinstance(part, int):
            step += f"[{part}]"
        else:
            if step:
                yield step
            step = clipped(part)
    if step:
        yield step


def _table_at(model: type[Record], keys: Sequence[str]) -> type[Record]:
    for key in keys[:-1]:
        model = _INNER.get(model, {}).get(key, model)
    return model


def _dated(raw: dict[str, Any], model: type[Record]) -> dict[str, Any]:
    # A bare number would pass for seconds since 1970.
    dates = {Closed: frozenset(raw), Shift: frozenset({"on"})}.get(model, frozenset())
    return {key: _whole_day(value) if key in dates else value for key, value in raw.items()}


def _whole_day(value: object) -> object:
    if isinstance(value, date | datetime):
        return value if EARLIEST_YEAR <= value.year <= LATEST_YEAR else Odd(shown(value))
    if isinstance(value, str) and not re.fullmatch(r"\s*(199\d|2[01]\d\d)-\d\d-\d\d\s*", value):
        return Odd(shown(value))
    return Odd(shown(value)) if isinstance(value, int | float) else value
