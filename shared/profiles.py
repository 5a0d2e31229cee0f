"""Firing profiles: the ramps and holds that a kind of work needs, and what may happen around them."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, PlainSerializer, model_validator

from shared.record import Identifier, Label, Positive, Record
from shared.texts import refusal, say
from shared.units import DurationMinutes, RateKPerHour, TemperatureC

SizeColumn = Literal["diameter_mm", "thickness_mm", "height_mm", "mass_kg", "footprint_cm2"]


class Segment(Record):
    """One ramp and the hold at its end. The hold's clock starts when the target is reached."""

    rate_k_per_hour: RateKPerHour = Field(alias="rate")
    to_c: TemperatureC = Field(alias="to")
    hold_minutes: DurationMinutes = Field(default=0.0, alias="hold")
    hold_up_to_minutes: DurationMinutes | None = Field(default=None, alias="hold_up_to")

    @model_validator(mode="after")
    def _elastic_hold_is_longer(self) -> Self:
        if self.hold_up_to_minutes is not None and self.hold_up_to_minutes < self.hold_minutes:
            raise refusal("hold_up_to")
        return self

    @property
    def longest_hold_minutes(self) -> float:
        """The longest that the hold may be [min]."""
        return self.hold_minutes if self.hold_up_to_minutes is None else self.hold_up_to_minutes


Segments = Annotated[tuple[Segment, ...], Field(min_length=1, max_length=60)]


class SizeRow(Record):
    """The segments for pieces up to a size; without ``up_to`` for any size."""

    up_to: Positive | None = None
    segments: Segments


class Profile(Record):
    """A firing profile of the studio's."""

    id: Identifier
    name: Label | None = None
    work: Label
    sized_by: SizeColumn | None = None
    unload: Literal["hot", "cool"] = "cool"
    unload_below_c: TemperatureC | None = Field(default=None, alias="unload_below")
    session: Label | None = None
    skill: Label | None = None
    session_people: Annotated[int, Field(ge=1, le=100)] = 1
    vent: bool = False
    shares_with: tuple[Identifier, ...] = ()
    one_family: bool = False
    cautions: tuple[Label, ...] = ()
    sizes: tuple[SizeRow, ...] = ()
    own_segments: Annotated[
        tuple[Segment, ...], Field(alias="segments", max_length=60), PlainSerializer(lambda v: v)
    ] = ()

    @model_validator(mode="after")
    def _segments_stand_in_one_place(self) -> Self:
        if bool(self.sizes) == bool(self.own_segments):
            raise refusal("segments")
        if bool(self.sizes) != (self.sized_by is not None):
            raise refusal("sized_by")
        limits = [row.up_to for row in self.sizes]
        if None in limits[:-1]:
            raise refusal("sizes_open")
        given = [limit for limit in limits if limit is not None]
        if given != sorted(set(given)):
            raise refusal("sizes")
        if self.unload == "hot" and self.unload_below_c is not None:
            raise refusal("unload")
        if self.unload == "cool" and "session_people" in self.model_fields_set:
            raise refusal("session_people")
        return self

    @property
    def title(self) -> str:
        """The name that people see."""
        return self.name or self.id

    @property
    def unload_people(self) -> int:
        """Hands that unloading takes, or the session; of a session's one has the skill, the others only help."""
        return self.session_people if self.unload == "hot" else 1

    @property
    def rows(self) -> tuple[int | None, ...]:
        """The size rows by number, from 0; ``(None,)`` for a profile without sizes."""
        return tuple(range(len(self.sizes))) if self.sizes else (None,)

    def segments(self, row: int | None) -> tuple[Segment, ...]:
        """The segments of size row ``row``."""
        return self.own_segments if row is None else self.sizes[row].segments

    def row_for(self, size: float | None) -> int | None:
        """The first size row that takes pieces of ``size`` (in the unit of ``sized_by``).

        Raises
        ------
        LookupError
            If the profile is sized and no row takes it.
        """
        if not self.sizes:
            return None
        if size is None:
            raise LookupError(say("fault.profile_sized_by", profile=self.id, sized_by=self.sized_by))
        for number, row in enumerate(self.sizes):
            if row.up_to is None or size <= row.up_to:
                return number
        raise LookupError(say("fault.profile_no_size", profile=self.id, sized_by=self.sized_by, size=size))

    def peak_c(self, row: int | None) -> float:
        """The highest target [°C] of a size row."""
        return max(segment.to_c for segment in self.segments(row))
