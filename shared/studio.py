"""The studio: its hours, circuits, kilns, tariff, house rules and profiles."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from functools import cached_property
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo, available_timezones

from pydantic import Field, field_validator, model_validator

from shared.clock import WEEKDAYS, Moment
from shared.kilns import Circuit, Kiln, Leg
from shared.profiles import Profile
from shared.record import Identifier, Label, NotNegative, Record
from shared.texts import refusal
from shared.units import MinuteOfDay, TemperatureC, TemperatureUnit

MOST_HORIZON_DAYS = 120
"""Longest horizon that a studio may have [d]; our own choice."""

Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
Weekdays = Annotated[tuple[Weekday, ...], Field(min_length=1)]


class Place(Record):
    """The ``[studio]`` table."""

    name: Label
    timezone: str
    temperature: TemperatureUnit = "C"
    currency: Annotated[str, Field(min_length=1, max_length=10)] = "EUR"
    room_c: TemperatureC = Field(default=20.0, alias="room")

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, name: str) -> str:
        if name not in available_timezones():
            raise refusal("zone")
        return name

    @property
    def zone(self) -> ZoneInfo:
        """The studio's time zone."""
        return ZoneInfo(self.timezone)


class Shift(Record):
    """When somebody is there to load, unload and attend. Past midnight where ``closes`` is not after ``opens``.

    It comes every week on its ``days``, or only ``on`` one date.
    """

    days: tuple[Weekday, ...] = ()
    on: date | None = None
    opens: MinuteOfDay = Field(alias="from")
    closes: MinuteOfDay = Field(alias="to")
    hands: Annotated[int, Field(ge=1, le=100)] = 1
    skills: tuple[Label, ...] = ()
    who: Label | None = None

    @model_validator(mode="after")
    def _some_days(self) -> Self:
        if bool(self.days) == (self.on is not None):
            raise refusal("shift_days")
        return self

    def comes(self, day: date) -> bool:
        """Whether it begins on a day."""
        return day == self.on or WEEKDAYS[day.weekday()] in self.days


class Closed(Record):
    """Whole days, both included, on which there are no shifts."""

    first: date = Field(alias="from")
    last: date = Field(alias="to")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.last < self.first:
            raise refusal("closed")
        return self


class Absence(Record):
    """Somebody who should be there and is not: on one day, all shifts or the one that begins at ``opens``.

    ``hands`` None: nobody of those shifts is there.
    """

    on: date
    opens: MinuteOfDay | None = Field(default=None, alias="from")
    hands: Annotated[int, Field(ge=1, le=100)] | None = None
    reason: Label | None = None


class Outage(Record):
    """A kiln, or a circuit with all that it feeds, that cannot be used."""

    kiln: Identifier | None = None
    circuit: Identifier | None = None
    begins: Moment = Field(alias="from")
    ends: Moment | None = Field(default=None, alias="to")
    reason: Label | None = None

    @model_validator(mode="after")
    def _one_thing_in_order(self) -> Self:
        if (self.kiln is None) == (self.circuit is None):
            raise refusal("outage_names")
        if self.ends is not None and self.ends <= self.begins:
            raise refusal("outage")
        return self


class Band(Record):
    """A price per kWh for part of the week. Past midnight where ``ends`` is not after ``begins``."""

    days: Weekdays
    begins: MinuteOfDay = Field(alias="from")
    ends: MinuteOfDay = Field(alias="to")
    price: NotNegative


class Tariff(Record):
    """Price per kWh by wall-clock time; the first band that holds wins."""

    default: NotNegative = 0.0
    bands: tuple[Band, ...] = ()


class Quiet(Record):
    """Times when nothing, or nothing of some kinds of work, may be heating. ``work`` None: nothing at all."""

    days: Weekdays
    begins: MinuteOfDay = Field(alias="from")
    ends: MinuteOfDay = Field(alias="to")
    work: Annotated[tuple[Label, ...], Field(min_length=1)] | None = None


class Rules(Record):
    """House rules."""

    load_below_c: TemperatureC = Field(default=60.0, alias="load_below")
    grid_minutes: Annotated[int, Field(ge=1, le=60)] = 5
    horizon_days: Annotated[int, Field(ge=1, le=MOST_HORIZON_DAYS)] = 10
    unattended_start: bool = True
    margin: Annotated[float, Field(ge=0.5, le=0.99)] | None = None
    session_margin: Annotated[float, Field(ge=0.5, le=0.99)] | None = None

    @field_validator("grid_minutes")
    @classmethod
    def _divides_the_hour(cls, minutes: int) -> int:
        if 60 % minutes:
            raise refusal("grid")
        return minutes


class CleanOut(Record):
    """Work on an empty kiln between two kinds of work: after one of ``after``, before one of ``before``.

    It ends when loading begins, and takes one pair of hands for ``minutes``.
    """

    after: Annotated[tuple[Label, ...], Field(min_length=1)]
    before: Annotated[tuple[Label, ...], Field(min_length=1)]
    minutes: Annotated[float, Field(gt=0, le=1440)]
    price: NotNegative = 0.0


class Prices(Record):
    """What the planner minimises, in the studio's currency.

    ``late_load`` is what each late load costs however little it is late, ``late_hour`` comes on top by the hour.
    """

    late_hour: NotNegative = 1.0
    late_load: NotNegative = 0.0
    unplaced: NotNegative = 500.0
    firing: NotNegative = 4.0
    moved: NotNegative = 2.0


class Studio(Record):
    """A studio with everything but its loads. Ids are unique and references lead somewhere."""

    place: Place
    shifts: tuple[Shift, ...] = ()
    closed: tuple[Closed, ...] = ()
    absences: tuple[Absence, ...] = ()
    circuits: tuple[Circuit, ...]
    kilns: tuple[Kiln, ...]
    outages: tuple[Outage, ...] = ()
    tariff: Tariff = Tariff()
    rules: Rules = Rules()
    quiet: tuple[Quiet, ...] = ()
    clean_outs: tuple[CleanOut, ...] = ()
    prices: Prices = Prices()
    profiles: tuple[Profile, ...] = ()

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy with some values replaced, checked as new; what was looked up by id is looked up afresh."""
        values = {name: getattr(self, name) for name in type(self).model_fields}
        return type(self)(**(values | dict(update or {})))

    @cached_property
    def kiln_by_id(self) -> dict[str, Kiln]:
        """Kilns by id."""
        return {kiln.id: kiln for kiln in self.kilns}

    @cached_property
    def profile_by_id(self) -> dict[str, Profile]:
        """Profiles by id."""
        return {profile.id: profile for profile in self.profiles}

    @cached_property
    def circuit_by_id(self) -> dict[str, Circuit]:
        """Circuits by id."""
        return {circuit.id: circuit for circuit in self.circuits}

    def feeders(self, circuit_id: str) -> Iterator[Circuit]:
        """A circuit and every one that feeds it, up to the root."""
        seen: set[str] = set()
        current: str | None = circuit_id
        while current is not None and current not in seen:
            seen.add(current)
            circuit = self.circuit_by_id[current]
            yield circuit
            current = circuit.fed_from

    def legs_of(self, kiln: Kiln) -> tuple[Leg, ...]:
        """The supply legs that a kiln loads."""
        return kiln.legs if kiln.legs is not None else self.circuit_by_id[kiln.circuit].leg_names

    def clean_out(self, after: str | None, before: str) -> CleanOut | None:
        """The clean-out between two kinds of work, the first of the list that asks for one; None where there is none.

        ``after`` None: nothing is known of what the kiln fired last.
        """
        return next((c for c in self.clean_outs if after in c.after and before in c.before), None)

    def unload_below_c(self, profile: Profile) -> float:
        """The temperature below which a firing of ``profile`` may be opened [°C]."""
        return profile.unload_below_c if profile.unload_below_c is not None else self.rules.load_below_c

    def controller_unit(self, kiln: Kiln) -> TemperatureUnit:
        """The unit that a kiln's controller shows."""
        return kiln.controller or self.place.temperature
