"""What kilns and ware are made of: conductivity, heat capacity and heats of change, with their sources.

Marks in the sources: [V] read in a stored copy of the source, [M] from memory, [C] computed from the named form,
[CP] common practice without one good source. Check values against outside libraries stand in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from scheduler.firing.kernel import TABLE_CELLS, TABLE_LOW_C, TABLE_STEP_K
from shared.kilns import Brick

WATER_TO_STEAM_J_PER_KG = 2.59e6
"""Liquid water at 20 °C to steam at 100 °C, 1 atm [J/kg]; 2591.5 kJ/kg, CoolProp (IAPWS-95) [V]."""

GYPSUM_TO_ANHYDRITE_J_PER_KG = 0.607e6
"""CaSO4.2H2O to anhydrite and steam [J per kg of gypsum]: 104.5 kJ/mol, from heats of formation (anhydrite and
steam as in ``chemicals`` [V], gypsum -2022.6 kJ/mol [M]) [C]."""

KAOLINITE_DEHYDROXYLATION_J_PER_KG = 1.0e6
"""Loss of hydroxyl, 450 to 650 °C [J per kg of kaolinite]; about 1 MJ/kg [M], enthalpy methods agree to 0.1 MJ/kg
of clay (zi-online, raw material enthalpy of heavy clay [V])."""


@dataclass(frozen=True, slots=True)
class WallMaterial:
    """A wall's material: k = k0 + k1 T + k2 T² [W/mK] and cp = c0 + c1 T [J/kgK], T in °C.

    Attributes
    ----------
    density
        [kg/m³].
    k, cp
        Coefficients, as above.
    valid_c
        Range [°C] in which the source gives values; outside the straight line goes on, which the fit's loss and
        storage factors take up.
    """

    name: str
    density: float
    k: tuple[float, float, float]
    cp: tuple[float, float]
    valid_c: tuple[float, float]

    def conductivity(self, temperature_c: float) -> float:
        """Conductivity [W/mK] at a temperature [°C]."""
        return self.k[0] + self.k[1] * temperature_c + self.k[2] * temperature_c**2

    def heat_capacity(self, temperature_c: float) -> float:
        """Specific heat [J/kgK] at a temperature [°C]."""
        return self.cp[0] + self.cp[1] * temperature_c


WALLS: dict[Brick, WallMaterial] = {
    # ASTM C155-97 groups by bulk density and reheat change. The VDI Heat Atlas (2nd ed., Springer 2010; as tabled
    # in `ht.insulation`) classes L1260, L1400, L1540 and L1760 lie inside the limits of groups 23, 26, 28 and above
    # 30; the coefficients are straight lines through their five points (400 to 1200 °C), k within 2 %, cp within 3 %.
    20: WallMaterial("insulating firebrick, group 20", 460.0, (0.085, 0.95e-4, 0.0), (860.0, 0.16), (200.0, 1065.0)),
    23: WallMaterial("insulating firebrick, group 23", 490.0, (0.100, 1.0e-4, 0.0), (906.6, 0.110), (400.0, 1230.0)),
    26: WallMaterial("insulating firebrick, group 26", 790.0, (0.230, 1.1e-4, 0.0), (917.2, 0.116), (400.0, 1400.0)),
    28: WallMaterial("insulating firebrick, group 28", 890.0, (0.266, 1.4e-4, 0.0), (932.8, 0.1415), (400.0, 1510.0)),
    # Group 30 is no class of the Heat Atlas: midway between L1540 and L1760 [C].
    30: WallMaterial("insulating firebrick, group 30", 1050.0, (0.338, 1.2e-4, 0.0), (937.5, 0.145), (400.0, 1620.0)),
    # Blanket at 130 kg/m³: typical of ASTM C892/C201 data sheets [M]; cp of alumina-silica fibre about 1.05 to
    # 1.13 kJ/kgK [M]. Round robin of seven laboratories: k of fibre board differs by 7.4 % (NIST/ASTM C16.30 [V]).
    "fibre": WallMaterial("ceramic fibre blanket", 130.0, (0.04, 4.0e-5, 1.75e-7), (900.0, 0.20), (20.0, 1200.0)),
}
"""Walls by brick group. Group 20 is from memory of makers' sheets [M], inside C155's limit of 640 kg/m³."""

BACKUP_BOARD = WallMaterial(
    "fibre board behind the brick", 280.0, (0.05, 5.0e-5, 0.9e-7), (900.0, 0.20), (20.0, 1000.0)
)
"""Board behind the brick; k typical of C201 data sheets [M]."""


@dataclass(frozen=True, slots=True)
class Enthalpy:
    """Enthalpy of a kilogram above 0 °C, tabled from ``TABLE_LOW_C`` every ``TABLE_STEP_K`` [J/kg].

    ``sensible`` is what cooling gives back; ``first_heating`` also holds the heats of change, absorbed once.
    """

    sensible: NDArray[np.float64]
    first_heating: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Change:
    """A heat of change absorbed between two temperatures [J per kg of ware, °C]."""

    heat_j_per_kg: float
    from_c: float
    to_c: float


@dataclass(frozen=True, slots=True)
class Ware:
    """A kind of ware.

    Attributes
    ----------
    thickness_mm
        Thickness of an ordinary piece [mm].
    conductivity
        [W/mK].
    density
        [kg/m³].
    cp
        Name of the heat capacity, a key of ``HEAT_CAPACITIES``.
    dry_share
        Mass that is left after drying [-], which carries the sensible heat.
    changes
        Heats of change.
    """

    name: str
    thickness_mm: float
    conductivity: float
    density: float
    cp: str
    dry_share: float = 1.0
    changes: tuple[Change, ...] = ()

    @property
    def surface_m2_per_kg(self) -> float:
        """Surface of a plate of the ware's thickness, both sides [m²/kg]."""
        return 2.0 / (self.density * self.thickness_mm / 1000.0)


# Points [°C] and values [J/kgK]; between them straight lines, outside the ends the end values.
_CELSIUS = np.array([25.0, 327.0, 527.0, 727.0, 927.0])
HEAT_CAPACITIES: dict[str, tuple[NDArray[np.float64], NDArray[np.float64]]] = {
    # JANAF as in `chemicals` [V]; 25 to 927 °C.
    "alumina": (_CELSIUS, np.array([775.0, 1104.0, 1178.0, 1224.0, 1258.0])),
    "copper": (_CELSIUS, np.array([385.0, 417.0, 433.0, 451.0, 480.0])),
    # Perry's as in `chemicals` [V]; 25 to 927 °C.
    "silver": (_CELSIUS, np.array([235.0, 252.0, 264.0, 275.0, 287.0])),
    "fused silica": (_CELSIUS, np.array([748.0, 1020.0, 1108.0, 1182.0, 1250.0])),
    "cristobalite": (_CELSIUS, np.array([748.0, 1048.0, 1125.0, 1170.0, 1227.0])),
    "anhydrite": (_CELSIUS, np.array([716.0, 961.0, 1102.0, 1240.0, 1376.0])),
    # Soda-lime glass: 800 to 840 at 25 °C, 1100 to 1200 at 500 °C [M].
    "glass": (np.array([25.0, 300.0, 500.0, 600.0, 900.0]), np.array([820.0, 1050.0, 1140.0, 1250.0, 1300.0])),
    # Cordierite-mullite shelves: 2 MgO.2 Al2O3.5 SiO2 with mullite; as 40 % alumina and 60 % silica [C].
    "shelf": (
        _CELSIUS,
        0.4 * np.array([775.0, 1104.0, 1178.0, 1224.0, 1258.0])
        + 0.6 * np.array([748.0, 1020.0, 1108.0, 1182.0, 1250.0]),
    ),
    # Gypsum-bonded investment, burnt: 70 % cristobalite and 30 % anhydrite (Dental Materials J. 22 (2003) 412 [V]).
    "investment": (
        _CELSIUS,
        0.7 * np.array([748.0, 1048.0, 1125.0, 1170.0, 1227.0])
        + 0.3 * np.array([716.0, 961.0, 1102.0, 1240.0, 1376.0]),
    ),
    # Fired clay: 1128 + 0.102 T - 36e6/T², T in K, 40 to 1100 °C: Michot, Smith, Degot & Gault, "Effect of
    # dehydroxylation on the specific heat of simple clay mixtures" [formula V].
    "fired clay": (
        np.arange(40.0, 1101.0, 20.0),
        1128.0
        + 0.102 * (np.arange(40.0, 1101.0, 20.0) + 273.15)
        - 36.0e6 / (np.arange(40.0, 1101.0, 20.0) + 273.15) ** 2,
    ),
}

_WATER_SHARE_OF_WET_INVESTMENT = 0.246
"""Free water in a kilogram of set, wet investment [-]: powder to water 1 : 0.40, hemihydrate is 30 % of the powder
and binds 18.6 % of its mass [C]; composition as for ``investment`` above [V]."""

_GYPSUM_SHARE_OF_WET_INVESTMENT = 0.254
"""Gypsum in a kilogram of set, wet investment [-]; as above [C]."""

GREENWARE = Ware(
    "greenware",
    thickness_mm=8.0,
    conductivity=0.9,
    density=1800.0,
    cp="fired clay",
    dry_share=0.94,
    # Bone-dry clay holds 1 to 3 % of water [CP]; half of an ordinary body is kaolinite or the like [CP].
    changes=(
        Change(0.02 * WATER_TO_STEAM_J_PER_KG, 95.0, 125.0),
        Change(0.5 * KAOLINITE_DEHYDROXYLATION_J_PER_KG, 450.0, 650.0),
    ),
)
BISCUIT = Ware(
    "bisque ware with raw glaze",
    8.0,
    1.0,
    1900.0,
    "fired clay",
    dry_share=0.98,
    changes=(Change(0.02 * WATER_TO_STEAM_J_PER_KG, 95.0, 125.0),),
)
FLASKS = Ware(
    # A flask of 90 mm has a radius of 45 mm; as a plate that is a half thickness of two thirds of it.
    "invested flasks",
    thickness_mm=60.0,
    conductivity=0.55,
    density=1500.0,
    cp="investment",
    dry_share=0.714,
    changes=(
        Change(_WATER_SHARE_OF_WET_INVESTMENT * WATER_TO_STEAM_J_PER_KG, 95.0, 105.0),
        Change(_GYPSUM_SHARE_OF_WET_INVESTMENT * GYPSUM_TO_ANHYDRITE_J_PER_KG, 110.0, 200.0),
    ),
)
GLASS = Ware("glass", 6.0, 1.1, 2500.0, "glass")
COPPER = Ware("copper and its enamel", 1.5, 300.0, 8900.0, "copper")
SILVER = Ware(
    "silver metal clay", 3.0, 100.0, 8000.0, "silver", changes=(Change(0.05 * WATER_TO_STEAM_J_PER_KG, 95.0, 125.0),)
)

_KINDS: tuple[tuple[tuple[str, ...], Ware], ...] = (
    (("burnout", "flask", "invest", "casting", "dewax"), FLASKS),
    (("glass", "fuse", "fusing", "slump", "anneal", "bead"), GLASS),
    (("enamel",), COPPER),
    (("metal", "silver", "bronze", "copper", "sinter"), SILVER),
    (("glaze", "lustre", "luster", "decal", "china", "overglaze"), BISCUIT),
)


def ware_for(work: str) -> Ware:
    """The kind of ware that a kind of work fires; greenware where the name says nothing, the heaviest assumption.

    >>> ware_for("burnout").name, ware_for("bisque").name
    ('invested flasks', 'greenware')
    """
    words = work.casefold()
    for keys, ware in _KINDS:
        if any(key in words for key in keys):
            return ware
    return GREENWARE


def _table(cp: str, share: float, changes: tuple[Change, ...]) -> Enthalpy:
    grid = TABLE_LOW_C + TABLE_STEP_K * np.arange(TABLE_CELLS + 1)
    points, values = HEAT_CAPACITIES[cp]
    # Trapezoids on a quarter-step grid: exact to rounding for the straight lines between the points.
    fine = TABLE_LOW_C + TABLE_STEP_K / 4.0 * np.arange(4 * TABLE_CELLS + 1)
    capacity = np.interp(fine, points, values)
    steps = 0.5 * (capacity[1:] + capacity[:-1]) * TABLE_STEP_K / 4.0
    sensible = np.concatenate(([0.0], np.cumsum(steps)))[::4]
    sensible = share * (sensible - np.interp(0.0, grid, sensible))
    latent = np.zeros_like(grid)
    for change in changes:
        latent += change.heat_j_per_kg * np.clip((grid - change.from_c) / (change.to_c - change.from_c), 0.0, 1.0)
    return Enthalpy(sensible, sensible + latent)


@cache
def ware_enthalpy(ware: Ware) -> Enthalpy:
    """Enthalpy tables of a kind of ware."""
    return _table(ware.cp, ware.dry_share, ware.changes)


@cache
def shelf_enthalpy() -> Enthalpy:
    """Enthalpy tables of shelves and posts."""
    return _table("shelf", 1.0, ())
