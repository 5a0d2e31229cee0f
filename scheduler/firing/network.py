"""The thermal network of one kiln: wall cells, chamber, shelves, openings, as numbers that the kernel steps.

::

    ware core -- ware skin -- chamber (elements, air, sensor) -- wall cell 1 ... N -- room
                     shelves --'            '-- leaks, vent, open lid -- room
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from scheduler.firing.materials import BACKUP_BOARD, WALLS, WallMaterial
from shared.kilns import Kiln

WALL_CELLS = 10
"""Cells of the brick [-]: within 1 % of 48 cells and 5 s steps in every phase time, mostly within half of that."""

WALL_GROWTH = 1.25
"""Each cell is so much thicker than the one before [-]: the first of 75 mm is 3.1 mm, about the depth that heat
reaches in a 60 s step (sqrt(alpha t) = 4 to 5 mm)."""

BACKUP_CELLS = 3
"""Cells of the board behind the brick [-]."""

THINNEST_BOARD_MM = 1.0
"""A board behind the brick that is thinner than this does nothing [mm]; made ones have 6 mm and more [CP]."""

LEAK_M2_PER_M2 = 14.0e-4
"""Cracks and holes by inside surface [m²/m²]: half a millimetre under a lid, element tails, plugged peepholes, floor
joint come to about 17 cm² in a 100 l kiln [C, derived here]. A tighter 4 cm²/m² lets medium kilns cool a third more
slowly than the reports in the tests (tests/scheduler/firing/test_common_practice.py)."""

VENT_KG_PER_S_M3 = 6.0e-3
"""Air that a powered vent draws through the chamber by inside volume [kg/s m³]: 0.6 g/s for 100 l, about 1.5 cm² of
holes at 10 to 20 Pa [C, derived here]; it shortens cooling by up to a third (a kiln maker's cooling page [V])."""

ELEMENT_J_PER_K_KW = 250.0
"""Heat capacity of the elements by plate power [J/K kW]: 0.35 kg of wire a kW, cp 0.7 kJ/kgK [CP]."""

AIR_J_PER_K_M3 = 400.0
"""Heat capacity of the air by volume [J/K m³]: 0.35 kg/m³ at 700 °C, cp 1.14 kJ/kgK (ideal gas) [C]."""


@dataclass(frozen=True, slots=True)
class Factors:
    """A kiln's fitted factors, and the factor of one firing's ware [-]; all 1 where nothing is known.

    Shelves and posts stay as given: they are the same from firing to firing, and the storage factor takes them up.
    """

    power: float = 1.0
    loss: float = 1.0
    storage: float = 1.0
    mass: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """A kiln as the kernel steps it.

    Attributes
    ----------
    cell_mass
        Mass of each wall cell [kg], from the hot face outward.
    half_resistance
        Half of each cell's geometric resistance, thickness by effective area [1/m].
    k, cp
        Coefficients of conductivity [W/mK] and specific heat [J/kgK] of each cell.
    outside_m2
        Effective area that gives heat to the room [m²].
    hot_face_m2
        Inside surface [m²].
    lid_m2
        The opening when the kiln stands open [m²].
    leak_m2, vent_kg_per_s
        Cracks, and air that a powered vent draws when the firing is vented.
    chamber_j_per_k
        Elements and air.
    power_w
        Element power on the supply at hand [W].
    height_m
        Inside height, which drives the leaks [m].
    """

    cell_mass: NDArray[np.float64]
    half_resistance: NDArray[np.float64]
    k: NDArray[np.float64]
    cp: NDArray[np.float64]
    outside_m2: float
    hot_face_m2: float
    lid_m2: float
    leak_m2: float
    vent_kg_per_s: float
    chamber_j_per_k: float
    power_w: float
    height_m: float

    def with_factors(self, factors: Factors) -> Network:
        """The network with its power, losses and wall storage multiplied (``factors.mass`` concerns the charge)."""
        return replace(
            self,
            cell_mass=self.cell_mass * factors.storage,
            k=self.k * factors.loss,
            leak_m2=self.leak_m2 * factors.loss,
            vent_kg_per_s=self.vent_kg_per_s * factors.loss,
            power_w=self.power_w * factors.power,
        )


def geometric_resistance(kiln: Kiln, depth_m: float) -> float:
    """Depth by effective area [1/m] of the wall from the hot face to ``depth_m``, edges and corners included.

    The conduction shape factor of a box is S = A/L + 0.54 Σe + 0.15 · 8 · L (Langmuir, Adams & Meikle, Trans. Am.
    Electrochem. Soc. 24 (1913) 53; Incropera & DeWitt table 4.1, cases 8 and 9); a round kiln's side is a cylinder
    shell, its rims edges.
    """
    if depth_m <= 0.0:
        return 0.0
    if kiln.is_round:
        diameter, height = (side / 1000.0 for side in kiln.inside_mm)
        side = 2.0 * math.pi * height / math.log1p(2.0 * depth_m / diameter)
        ends = math.pi / 2.0 * diameter**2 / depth_m
        return 1.0 / (side + ends + 0.54 * 2.0 * math.pi * diameter)
    edges = 4.0 * sum(side / 1000.0 for side in kiln.inside_mm)
    area = kiln.inside_surface_m2
    # The form has its least S at depth sqrt(A/1.2), which no wall has; from half of that on, area grows as a sphere's.
    limit = 0.5 * math.sqrt(area / (0.15 * 8.0))
    near = min(depth_m, limit)
    shape = area / near + 0.54 * edges + 0.15 * 8.0 * near
    if depth_m <= limit:
        return 1.0 / shape
    effective = (shape * limit) ** 2 / (area - 0.15 * 8.0 * limit**2)
    return 1.0 / shape + limit / effective * (1.0 - limit / depth_m)


def cell_depths(thickness_m: float, cells: int, growth: float) -> NDArray[np.float64]:
    """Depths of the cell faces [m], from 0 to the thickness, each cell ``growth`` times as thick as the last."""
    if growth == 1.0:
        return np.linspace(0.0, thickness_m, cells + 1)
    weights = growth ** np.arange(cells)
    return thickness_m * np.concatenate(([0.0], np.cumsum(weights))) / float(weights.sum())


def _layers(kiln: Kiln, cells: int, growth: float) -> list[tuple[float, float, WallMaterial]]:
    """From and to which depth [m] each cell goes, and what it is made of."""
    brick = cell_depths(kiln.wall_mm / 1000.0, cells, growth)
    layers = [(float(a), float(b), WALLS[kiln.brick]) for a, b in itertools.pairwise(brick)]
    if kiln.backup_mm >= THINNEST_BOARD_MM:
        board = brick[-1] + cell_depths(kiln.backup_mm / 1000.0, BACKUP_CELLS * max(1, cells // WALL_CELLS), 1.0)
        layers += [(float(a), float(b), BACKUP_BOARD) for a, b in itertools.pairwise(board)]
    return layers


def build_network(kiln: Kiln, cells: int = WALL_CELLS, growth: float = WALL_GROWTH) -> Network:
    """The network of a kiln by its plate and measures, its fitted factors included.

    The wall's heat storage uses the same effective area as its conduction: corners are colder than the flat parts
    at the same depth, so their full volume would count too much.
    """
    layers = _layers(kiln, cells, growth)
    thickness = np.array([b - a for a, b, _ in layers])
    resistance = np.array([geometric_resistance(kiln, b) - geometric_resistance(kiln, a) for a, b, _ in layers])
    area = thickness / resistance
    fitted = kiln.fitted
    base = Network(
        cell_mass=np.array([m.density for *_, m in layers]) * area * thickness,
        half_resistance=resistance / 2.0,
        k=np.array([m.k for *_, m in layers]),
        cp=np.array([m.cp for *_, m in layers]),
        outside_m2=float(area[-1]),
        hot_face_m2=kiln.inside_surface_m2,
        lid_m2=kiln.shelf_area_cm2 / 1.0e4,
        leak_m2=LEAK_M2_PER_M2 * kiln.inside_surface_m2,
        vent_kg_per_s=VENT_KG_PER_S_M3 * kiln.volume_l / 1000.0,
        chamber_j_per_k=ELEMENT_J_PER_K_KW * kiln.kilowatts + AIR_J_PER_K_M3 * kiln.volume_l / 1000.0,
        power_w=kiln.plate_power_kw * 1000.0,
        height_m=kiln.height_mm / 1000.0,
    )
    # plate_power_kw holds the fitted power already.
    return base.with_factors(Factors(loss=fitted.loss, storage=fitted.storage))


def kiln_key(kiln: Kiln) -> tuple[object, ...]:
    """What of a kiln matters to its firings, as a tuple that is cheap to hash."""
    fitted = kiln.fitted
    return (
        kiln.inside_mm,
        kiln.wall_mm,
        kiln.brick,
        kiln.backup_mm,
        kiln.kilowatts,
        kiln.volts,
        kiln.supply_volts,
        kiln.given_furniture_kg,
        kiln.shelf_gap_mm,
        fitted.power,
        fitted.loss,
        fitted.storage,
    )


class _ByKey:
    """A kiln that compares by what matters to its network."""

    __slots__ = ("key", "kiln")

    def __init__(self, kiln: Kiln) -> None:
        self.kiln = kiln
        self.key = kiln_key(kiln)

    def __hash__(self) -> int:
        return hash(self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _ByKey) and self.key == other.key


@lru_cache(maxsize=256)
def _cached(kiln: _ByKey) -> Network:
    return build_network(kiln.kiln)


def network_for(kiln: Kiln) -> Network:
    """The network of a kiln, from memory where the same kiln was asked for before."""
    return _cached(_ByKey(kiln))
