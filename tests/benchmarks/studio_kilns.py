"""The kilns and circuits of a generated studio.

Plates are typical ones of the trade, computed from supply and power; circuits are sized so that about two thirds of
the kilns of a panel, and of the house, may heat together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random
from typing import Literal

from shared.kilns import Brick, Circuit, Fitted, Kiln, Leg
from shared.units import TemperatureUnit
from tests.benchmarks.studio_profiles import BISQUE, BURNOUT, ENAMEL, GLASS, GLAZE, METAL_CLAY, round_temperature

Supply = Literal["one phase", "split phase", "three-phase 400", "three-phase 208"]

TOGETHER = 0.65
"""Share of a panel's amps that may be drawn at once [-]; a community room runs 4 of 6, common practice."""

BREAKERS_A = (16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000)
"""Ratings that breakers are made in [A] (the R10 series from which they are chosen)."""


@dataclass(frozen=True, slots=True)
class Plate:
    """A make of kiln: power [kW], inside [mm], wall [mm], limit [°C], and the hands it needs [min]."""

    name: str
    work: tuple[str, ...]
    kilowatts: float
    inside_mm: tuple[float, ...]
    wall_mm: float
    brick: Brick
    max_temperature_c: float
    load_minutes: float
    unload_minutes: float
    gap_mm: float = 15.0
    vented: bool = False
    unattended: bool = True


_FRONT = Plate("front loader", (BISQUE, GLAZE), 18.0, (580, 580, 750), 115, 26, 1300, 60, 45, vented=True)
_ROUND = Plate("round top loader", (BISQUE, GLAZE), 11.5, (580, 690), 76, 23, 1290, 45, 35, vented=True)
_SMALL = Plate("small top loader", (BISQUE, GLAZE), 5.2, (420, 460), 76, 23, 1280, 25, 20, vented=True)
_FLAT = Plate("flat glass kiln", (GLASS,), 5.5, (900, 600, 280), 76, 23, 930, 35, 30, gap_mm=20)
_GLASS = Plate("glass kiln", (GLASS,), 2.9, (450, 450, 220), 75, "fibre", 930, 25, 20, gap_mm=20)
_BURNOUT = Plate("burnout kiln", (BURNOUT,), 3.0, (400, 400, 280), 75, 23, 1000, 20, 30, vented=True)
_MUFFLE = Plate("enamel muffle", (ENAMEL,), 2.2, (300, 300, 180), 65, 23, 1050, 10, 10, unattended=False)
_BENCH = Plate("bench kiln", (METAL_CLAY,), 2.4, (260, 300, 220), 65, 23, 1100, 15, 10, vented=True)

_ORDER = (
    _ROUND, _GLASS, _SMALL, _BURNOUT, _FRONT, _MUFFLE, _BENCH, _ROUND, _FLAT, _ROUND, _FRONT, _BURNOUT, _SMALL, _MUFFLE,
    _ROUND, _FLAT, _FRONT, _GLASS, _ROUND, _BURNOUT,
)  # fmt: skip
"""Which kilns a place has, by its number of kilns; repeated for more than twenty."""

_SIX_KINDS = 7
"""From so many kilns on, the order above covers all six kinds of work; smaller places are shuffled."""


def make_supply(rng: Random, kilns: int, timezone: str) -> Supply:
    """The supply that a place of that size has in that part of the world."""
    if timezone.startswith("America/"):
        return "split phase" if kilns <= 5 or (kilns <= 8 and rng.random() < 0.5) else "three-phase 208"
    return "one phase" if kilns == 1 else "three-phase 400"


def make_kilns(rng: Random, count: int, supply: Supply, unit: TemperatureUnit) -> tuple[list[Circuit], list[Kiln]]:
    """The kilns of a place and the tree of circuits that feeds them."""
    plates = [_ORDER[number % len(_ORDER)] for number in range(count)]
    if count < _SIX_KINDS:
        plates = [_ROUND, *rng.sample(_ORDER[1:_SIX_KINDS], count - 1)]
    rooms = 2 if count <= 8 else -(-count // 6)
    panels = ["main"] if count <= 3 else [f"room-{room + 1}" for room in range(rooms)]
    kilns = [_kiln(rng, number, plate, panels, supply, unit) for number, plate in enumerate(plates)]
    return _circuits(kilns, panels, supply), kilns


def _kiln(rng: Random, number: int, plate: Plate, panels: list[str], supply: Supply, unit: TemperatureUnit) -> Kiln:
    kilowatts = round(plate.kilowatts * rng.uniform(0.93, 1.1), 2)
    volts, legs, amps = _connection(kilowatts, number, supply)
    tired = rng.random() < 0.3
    return Kiln(
        id=f"K{number + 1}",
        name=f"{plate.name} {number + 1}",
        work=plate.work,
        circuit=panels[number % len(panels)],
        legs=legs,
        volts=volts,
        amps=amps,
        kilowatts=kilowatts,
        supply_volts=round(volts * rng.uniform(0.96, 1.0)) if rng.random() < 0.3 else None,
        max_temperature_c=round_temperature(plate.max_temperature_c, unit),
        inside_mm=tuple(round(side * rng.uniform(0.95, 1.08)) for side in plate.inside_mm),
        shelf_gap_mm=plate.gap_mm,
        wall_mm=plate.wall_mm,
        brick=plate.brick,
        backup_mm=25.0 if plate.kilowatts > 15 else 0.0,
        load_minutes=plate.load_minutes,
        unload_minutes=plate.unload_minutes,
        unattended=plate.unattended,
        attend_end=plate.vented and rng.random() < 0.15,
        vented=plate.vented,
        controller=rng.choice(("C", "F")) if rng.random() < 0.2 else None,
        fitted=Fitted(power=round(rng.uniform(0.93, 1.0), 3), loss=round(rng.uniform(0.97, 1.08), 3))
        if tired
        else Fitted(),
    )


def _connection(kilowatts: float, number: int, supply: Supply) -> tuple[float, tuple[Leg, ...], float]:
    """Volts [V], legs and plate amps a leg [A] of a kiln on a supply; small ones go round the legs in turn."""
    names: tuple[Leg, ...] = ("A", "B", "C")
    if supply == "split phase":
        # Bench kilns plug into 120 V; everything else takes both legs.
        if kilowatts < 2.3:
            return 120.0, (names[number % 2],), round(kilowatts * 1000 / 120, 1)
        return 240.0, ("A", "B"), round(kilowatts * 1000 / 240, 1)
    if supply == "one phase":
        return 230.0, ("A",), round(kilowatts * 1000 / 230, 1)
    if kilowatts > (7.0 if supply == "three-phase 400" else 8.0):
        volts = 400.0 if supply == "three-phase 400" else 208.0
        return volts, names, round(kilowatts * 1000 / (math.sqrt(3) * volts), 1)
    if supply == "three-phase 400":
        return 230.0, (names[number % 3],), round(kilowatts * 1000 / 230, 1)
    return 208.0, (names[number % 3], names[(number + 1) % 3]), round(kilowatts * 1000 / 208, 1)


def _circuits(kilns: list[Kiln], panels: list[str], supply: Supply) -> list[Circuit]:
    legs = {"one phase": 1, "split phase": 2}.get(supply, 3)

    def breaker(members: list[Kiln], at_least: float) -> float:
        names: tuple[Leg, ...] = ("A", "B", "C")
        drawn = [sum(kiln.amps for kiln in members if leg in (kiln.legs or ())) for leg in names[:legs]]
        biggest = max(kiln.amps for kiln in members)
        wanted = max(biggest, TOGETHER * max(drawn)) / 0.8
        return float(next(rating for rating in BREAKERS_A if rating >= max(wanted, at_least)))

    if panels == ["main"]:
        return [Circuit(id="main", breaker_amps=breaker(kilns, 0.0), legs=legs)]
    rooms = [
        Circuit(
            id=panel, fed_from="main", breaker_amps=breaker([k for k in kilns if k.circuit == panel], 0.0), legs=legs
        )
        for panel in panels
    ]
    main = breaker(kilns, max(room.breaker_amps for room in rooms))
    return [Circuit(id="main", breaker_amps=main, legs=legs), *rooms]
