"""Kilns and the circuits that feed them."""

from __future__ import annotations

import math
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from shared.record import Identifier, Label, NotNegative, Positive, Record
from shared.texts import refusal
from shared.units import TemperatureC, TemperatureUnit

Leg = Literal["A", "B", "C"]
Brick = Literal[20, 23, 26, 28, 30, "fibre"]

SHELF_KG_PER_M2 = 38.0
"""Shelves with their posts [kg per m² of shelf]: 14 mm cordierite-mullite at about 2.2 g/cm³ is 31 kg/m², posts add
a fifth. Derived here by arithmetic; ``furniture_kg`` in studio.toml replaces it."""

LAYER_PITCH_MM = 170.0
"""Height that one layer of ware takes in an ordinary full kiln [mm]; common practice, used only to infer how many
shelves "a full kiln" means where ``furniture_kg`` is not given."""


class Circuit(Record):
    """A breaker and what it feeds. Circuits form a tree by ``fed_from``."""

    id: Identifier
    fed_from: Identifier | None = None
    breaker_amps: Annotated[float, Field(gt=0, le=10_000)]
    legs: Annotated[int, Field(ge=1, le=3)] = 1
    on_legs: tuple[Leg, ...] | None = None
    continuous_share: Annotated[float, Field(gt=0, le=1)] = 0.8

    @model_validator(mode="after")
    def _legs_agree(self) -> Self:
        if self.on_legs is not None and (len(self.on_legs) != self.legs or len(set(self.on_legs)) != len(self.on_legs)):
            raise refusal("on_legs")
        return self

    @property
    def leg_names(self) -> tuple[Leg, ...]:
        """The supply legs that this circuit stands on; the first ones unless ``on_legs`` says which."""
        if self.on_legs is not None:
            return self.on_legs
        names: tuple[Leg, ...] = ("A", "B", "C")
        return names[: self.legs]

    @property
    def usable_amps(self) -> float:
        """Continuous load that the circuit may carry on each leg [A]."""
        return self.breaker_amps * self.continuous_share


Correlation = Annotated[float, Field(ge=-1, le=1)]


class Fitted(Record):
    """Factors of one kiln's thermal model, from a fit to its recorded firings; 1 where nothing is known.

    The standard errors are of the factors' logarithms; without them the plate's own uncertainty is used. The
    correlations are those of power with loss, power with storage and loss with storage: a log of temperatures
    determines the ratios far better than the factors.
    """

    power: Annotated[float, Field(gt=0.2, lt=3)] = 1.0
    loss: Annotated[float, Field(gt=0.2, lt=5)] = 1.0
    storage: Annotated[float, Field(gt=0.2, lt=5)] = 1.0
    power_error: Annotated[float, Field(ge=0, lt=1)] | None = None
    loss_error: Annotated[float, Field(ge=0, lt=1)] | None = None
    storage_error: Annotated[float, Field(ge=0, lt=1)] | None = None
    correlations: tuple[Correlation, Correlation, Correlation] | None = None
    firings: Annotated[int, Field(ge=0)] = 0


class Kiln(Record):
    """One electric kiln as its plate, its maker and its fit describe it."""

    id: Identifier
    name: Label | None = None
    work: Annotated[tuple[Label, ...], Field(min_length=1)]
    circuit: Identifier
    legs: tuple[Leg, ...] | None = None
    volts: Annotated[float, Field(gt=0, le=1000)]
    amps: Annotated[float, Field(gt=0, le=1000)]
    kilowatts: Annotated[float, Field(gt=0, le=1000)]
    supply_volts: Annotated[float, Field(gt=0, le=1000)] | None = None
    max_temperature_c: TemperatureC = Field(alias="max_temperature")
    inside_mm: Annotated[tuple[Positive, ...], Field(min_length=2, max_length=3)]
    shelf_gap_mm: Annotated[float, Field(ge=0, le=500)] = 15.0
    wall_mm: Annotated[float, Field(ge=10, le=1000)]
    brick: Brick
    backup_mm: Annotated[float, Field(ge=0, le=500)] = 0.0
    given_furniture_kg: NotNegative | None = Field(default=None, alias="furniture_kg")
    load_minutes: Annotated[float, Field(ge=0, le=1440)]
    unload_minutes: Annotated[float, Field(ge=0, le=1440)]
    unattended: bool = True
    attend_end: bool = False
    vented: bool = False
    controller: TemperatureUnit | None = None
    last_work: Label | None = None
    fitted: Fitted = Fitted()

    @property
    def title(self) -> str:
        """The name that people see."""
        return f"{self.id} {self.name}" if self.name else self.id

    @property
    def is_round(self) -> bool:
        """Whether the chamber is round: ``inside_mm`` is then diameter and height."""
        return len(self.inside_mm) == 2

    @property
    def height_mm(self) -> float:
        """Inside height [mm]."""
        return self.inside_mm[-1]

    @property
    def shelf_area_cm2(self) -> float:
        """Area of one layer [cm²]: the whole cross-section; spacing is part of a load's footprint."""
        if self.is_round:
            return math.pi / 4.0 * self.inside_mm[0] ** 2 / 100.0
        return self.inside_mm[0] * self.inside_mm[1] / 100.0

    @property
    def volume_l(self) -> float:
        """Inside volume [l]."""
        return self.shelf_area_cm2 * self.height_mm / 10_000.0

    @property
    def inside_surface_m2(self) -> float:
        """Area of the hot face, floor and lid included [m²]."""
        if self.is_round:
            diameter, height = (side / 1000.0 for side in self.inside_mm)
            return math.pi * diameter * height + math.pi / 2.0 * diameter**2
        width, depth, height = (side / 1000.0 for side in self.inside_mm)
        return 2.0 * (width * depth + width * height + depth * height)

    @property
    def full_layers(self) -> int:
        """Layers of an ordinary full kiln [-]."""
        return max(1, round(self.height_mm / (LAYER_PITCH_MM + self.shelf_gap_mm)))

    @property
    def furniture_kg(self) -> float:
        """Mass of shelves and posts of a full kiln [kg]; inferred from the shelf area where it is not given."""
        if self.given_furniture_kg is not None:
            return self.given_furniture_kg
        return SHELF_KG_PER_M2 * self.shelf_area_cm2 / 10_000.0 * self.full_layers

    def furniture_for(self, layers: int) -> float:
        """Mass of the shelves and posts that ``layers`` layers need [kg]; never more than the full kiln's."""
        return self.furniture_kg * min(1.0, max(1, layers) / self.full_layers)

    @property
    def plate_power_kw(self) -> float:
        """Element power on the supply at hand [kW]: plate power by the square of the voltage, and the fit's ageing."""
        ratio = 1.0 if self.supply_volts is None else self.supply_volts / self.volts
        return self.kilowatts * ratio**2 * self.fitted.power
