"""Loads: the pieces that wait to be fired together, as one line of loads.csv."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from shared.clock import Moment
from shared.families import family_key
from shared.kilns import Kiln
from shared.profiles import Profile, SizeColumn
from shared.record import Identifier, Positive, Record
from shared.texts import refusal, say
from shared.units import DurationMinutes, TemperatureC


class Load(Record):
    """One load. Its footprint is the shelf area of all its pieces, spacing included."""

    id: Identifier
    owner: Annotated[str, Field(max_length=200)] = ""
    stream: Literal["student", "production"] = "student"
    profile: Identifier
    pieces: Annotated[int, Field(ge=1, le=10_000)] = 1
    footprint_cm2: Annotated[float, Field(gt=0, le=1e6)]
    height_mm: Annotated[float, Field(gt=0, le=5000)]
    mass_kg: Annotated[float, Field(gt=0, le=5000)]
    thickness_mm: Positive | None = None
    diameter_mm: Positive | None = None
    family: Annotated[str, Field(max_length=200)] | None = None
    max_temperature_c: TemperatureC | None = Field(default=None, alias="max_temperature")
    ready: Moment | None = None
    promised: Moment | None = None
    priority: Annotated[int, Field(ge=1, le=9)] = 1
    kilns: tuple[Identifier, ...] = ()
    alone: bool = False
    after: Identifier | None = None
    gap_minutes: DurationMinutes = Field(default=0.0, alias="gap_hours")
    session_minutes: DurationMinutes | None = Field(default=None, alias="session_hours")
    session_at: Moment | None = None
    note: Annotated[str, Field(max_length=1000)] = ""

    @model_validator(mode="after")
    def _not_its_own_stage(self) -> Self:
        if self.after == self.id:
            raise refusal("after")
        return self

    @property
    def family_key(self) -> str:
        """What the load's family is compared by; empty where none is given."""
        return family_key(self.family)

    def size(self, column: SizeColumn | None) -> float | None:
        """The load's measure in the column that a profile is sized by; None where it is not given."""
        if column is None:
            return None
        value: float | None = getattr(self, column)
        return value


def size_row(profile: Profile, loads: Sequence[Load]) -> int | None:
    """The size row that fires ``loads`` together: the largest of them picks it.

    Raises
    ------
    LookupError
        If a load lacks the measure, or no row is large enough.
    """
    if profile.sized_by is None:
        return None
    sizes = [load.size(profile.sized_by) for load in loads]
    missing = [load.id for load, size in zip(loads, sizes, strict=True) if size is None]
    if missing:
        raise LookupError(say("fault.load_gives_no", load=missing[0], sized_by=profile.sized_by, profile=profile.id))
    return profile.row_for(max(size for size in sizes if size is not None))


def session_minutes(kiln: Kiln, loads: Sequence[Load]) -> float:
    """Length of the hot session of ``loads`` in ``kiln`` [min]: their own sessions one after another.

    Loads that name no length are taken out together in the kiln's ``unload_minutes``.
    """
    named = [load.session_minutes for load in loads]
    total = sum(minutes for minutes in named if minutes is not None)
    return total + (kiln.unload_minutes if None in named else 0.0)


def pieces_on_a_layer(load: Load, shelf_area_cm2: float) -> int:
    """How many of a load's pieces one empty layer takes [-], by area alone."""
    piece_cm2 = load.footprint_cm2 / load.pieces
    return min(load.pieces, int(shelf_area_cm2 / piece_cm2 + 1e-9))


def area_on_last_layer_cm2(load: Load, shelf_area_cm2: float) -> tuple[int, float]:
    """How a load lies: whole layers that it fills by itself [-], and what is left for a layer it may share [cm²].

    A load that fits on one layer fills none by itself. One larger than a layer fills as many as its pieces need and
    shares the last.

    Raises
    ------
    LookupError
        If a single piece is larger than the layer.
    """
    if load.footprint_cm2 <= shelf_area_cm2 + 1e-9:
        return 0, load.footprint_cm2
    each = pieces_on_a_layer(load, shelf_area_cm2)
    if each == 0:
        raise LookupError(say("fault.piece_load_larger", load=load.id))
    full, rest = divmod(load.pieces, each)
    return (
        (full, rest * load.footprint_cm2 / load.pieces) if rest else (full - 1, each * load.footprint_cm2 / load.pieces)
    )
