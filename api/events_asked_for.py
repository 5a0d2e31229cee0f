"""What a person says has happened since a plan was made: the options of ``kilnrota replan``, read with every fault."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TypeVar, get_args

from api.consistency import check_load
from api.wire import reading_of
from api.words import tell
from scheduler.planning.events import Away, CircuitDown, Events, FiringLate, KilnDown, Outcome
from shared.clock import Minute
from shared.errors import Fault, FolderError, RequestError
from shared.files.fault_list import FaultList
from shared.files.loads_csv import load_rows
from shared.files.text import read_text
from shared.files.values import clipped
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Studio

MOST_LISTED = 30
"""How many names a refusal spells out [-]; the rest is counted."""

LONGEST_DELAY_HOURS = 240.0
"""Longest delay of a firing that is believed [h]: ten days; house choice, above it the firing has failed."""

_DAY_AND_TIME = re.compile(r"(\d{4}-\d\d-\d\d)(?:[T ](\d\d):(\d\d))?")
_HOURS = re.compile(r"\d{1,4}(\.\d{1,4})?")

Read = TypeVar("Read")


@dataclass(frozen=True)
class SaidEvents:
    """The options as typed."""

    down: Sequence[str] = ()
    circuits_down: Sequence[str] = ()
    late: Sequence[str] = ()
    cancel: Sequence[str] = ()
    absent: Sequence[str] = ()
    outcomes: Sequence[str] = ()
    add: Path | None = None


@dataclass
class _Asked:
    """Collects what the options mean, and one fault for each that means nothing."""

    studio: Studio
    loads: Sequence[Load]
    plan: Plan
    now: Minute
    faults: list[Fault] = field(default_factory=list)

    def each(self, option: str, texts: Sequence[str], read: Callable[[str], Read]) -> tuple[Read, ...]:
        found = []
        for text in texts:
            try:
                found.append(read(text.strip()))
            except _UnusableError as fault:
                self.faults.append(Fault(f"{option} {clipped(text)}", "", fault.problem, fault.remedy))
        return tuple(found)

    def kiln_down(self, text: str) -> KilnDown:
        name, until = self._name_and_until(text)
        return KilnDown(_one_of(name, "kiln", self.studio.kiln_by_id), until)

    def circuit_down(self, text: str) -> CircuitDown:
        name, until = self._name_and_until(text)
        return CircuitDown(_one_of(name, "circuit", self.studio.circuit_by_id), until)

    def late(self, text: str) -> FiringLate:
        name, _, hours = text.rpartition(":")
        if not _HOURS.fullmatch(hours) or not 0.0 < float(hours) <= LONGEST_DELAY_HOURS:
            raise _UnusableError(
                tell("refused.gives_no_hours"), tell("refused.write_f7_2", longest_delay=LONGEST_DELAY_HOURS)
            )
        return FiringLate(_one_of(name, "firing", [f.id for f in self.plan.firings]), float(hours))

    def cancelled(self, text: str) -> str:
        return _one_of(text, "waiting load", [load.id for load in self.loads])

    def absent(self, text: str) -> Away:
        match = _DAY_AND_TIME.fullmatch(text)
        try:
            day = date.fromisoformat(match[1]) if match else None
        except ValueError:
            day = None
        if match is None or day is None:
            raise _UnusableError(tell("refused.is_no_day"), tell("refused.write_2026_12"))
        if match[2] is None:
            return Away(day)
        opens = int(match[2]) * 60 + int(match[3])
        known = sorted({shift.opens for shift in self.studio.shifts})
        if opens not in known:
            times = ", ".join(f"{at // 60:02d}:{at % 60:02d}" for at in known) or "never"
            raise _UnusableError(tell("refused.names_no_shift"), tell("refused.shifts_begin_without", times=times))
        return Away(day, opens)

    def outcome(self, text: str) -> tuple[str, Outcome]:
        name, _, said = text.rpartition("=")
        for outcome in get_args(Outcome):
            if said == outcome:
                return _one_of(name, "firing", [f.id for f in self.plan.firings]), outcome
        raise _UnusableError(
            tell("refused.gives_no_outcome"), tell("refused.write_f7_refire", outcome=tuple(get_args(Outcome)))
        )

    def _name_and_until(self, text: str) -> tuple[str, Minute | None]:
        from api.requests import moment_asked_for

        name, colon, until = text.partition(":")
        if not colon:
            return name, None
        try:
            at = moment_asked_for(until, "until", self.studio)
        except RequestError:
            raise _UnusableError(
                tell("refused.is_no_time", until=repr(clipped(until))), tell("refused.write_k2_2026")
            ) from None
        if at <= self.now:
            raise _UnusableError(tell("refused.is_over_already"), tell("refused.name_time_after"))
        return name, at


class _UnusableError(Exception):
    def __init__(self, problem: str, remedy: str) -> None:
        super().__init__(problem)
        self.problem, self.remedy = problem, remedy


def _one_of(name: str, what: str, known: Collection[str]) -> str:
    if name not in known:
        listed, more = ", ".join(list(known)[:MOST_LISTED]) or "none", len(known) - MOST_LISTED
        remedy = tell("refused.there_are", listed=listed)
        if more > 0:
            remedy = tell("refused.there_are_more", listed=listed, more=more)
        raise _UnusableError(tell("refused.names_no_that", what=what), remedy)
    return name


def events_asked_for(said: SaidEvents, studio: Studio, loads: Sequence[Load], plan: Plan, now: Minute) -> Events:
    """The events that options mean.

    Raises
    ------
    FolderError
        With one fault for each option that cannot be used.
    """
    asked = _Asked(studio, loads, plan, now)
    events = Events(
        down=asked.each("--down", said.down, asked.kiln_down),
        circuits_down=asked.each("--circuit-down", said.circuits_down, asked.circuit_down),
        late=asked.each("--late", said.late, asked.late),
        cancel=asked.each("--cancel", said.cancel, asked.cancelled),
        absent=asked.each("--absent", said.absent, asked.absent),
        outcomes=dict(asked.each("--outcome", said.outcomes, asked.outcome)),
        add=(),
    )
    added: tuple[Load, ...] = ()
    try:
        added = loads_from(said.add, studio, loads) if said.add is not None else ()
    except FolderError as error:
        asked.faults += error.faults
    if asked.faults:
        raise FolderError(asked.faults)
    return Events(events.down, events.circuits_down, events.late, added, events.cancel, events.absent, events.outcomes)


def loads_from(path: Path, studio: Studio, waiting: Sequence[Load]) -> tuple[Load, ...]:
    """Loads from a file like loads.csv, checked against the studio and what waits in it.

    Raises
    ------
    FolderError
        With every fault of the file.
    """
    faults = FaultList(clipped(path.name))
    text = read_text(path, faults)
    rows = [] if text is None else load_rows(text, reading_of(studio.place), faults)
    taken = {load.id for load in waiting}
    for row in rows:
        name = row.cells.get("id", "")
        if name in taken:
            faults.add(
                row.place("id"), tell("refused.id_another_load", name=clipped(name)), tell("refused.give_each_own")
            )
        taken.add(name)
    if faults.count:
        raise FolderError(faults.listed())
    found = tuple(row.load for row in rows if row.load is not None)
    told: list[Fault] = []
    for load in found:
        try:
            check_load(load, [*waiting, *(other for other in found if other.id != load.id)], studio)
        except FolderError as error:
            told += [Fault(faults.file, fault.place, fault.problem, fault.remedy) for fault in error.faults]
    if told:
        raise FolderError(told)
    return found
