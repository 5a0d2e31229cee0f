"""Bricks and heat capacities against `ht` (VDI Heat Atlas), `chemicals` (JANAF, Perry's) and ASTM C155."""

from __future__ import annotations

import numpy as np
import pytest
from chemicals.heat_capacity import Cp_dict_JANAF_liquid, Cp_dict_PerryI
from chemicals.identifiers import MW
from ht.insulation import refractories, refractory_VDI_Cp, refractory_VDI_k

from scheduler.firing.kernel import TABLE_LOW_C, TABLE_STEP_K
from scheduler.firing.materials import (
    FLASKS,
    GREENWARE,
    GYPSUM_TO_ANHYDRITE_J_PER_KG,
    HEAT_CAPACITIES,
    WALLS,
    ware_enthalpy,
    ware_for,
)

VDI_CLASS = {23: "L1260", 26: "L1400", 28: "L1540"}


@pytest.mark.parametrize("group", VDI_CLASS)
@pytest.mark.parametrize("temperature_c", [400.0, 600.0, 800.0, 1000.0, 1200.0])
def test_brick_conducts_and_stores_as_the_heat_atlas_says(group: int, temperature_c: float) -> None:
    """VDI Heat Atlas, 2nd ed. (2010), as tabled in `ht.insulation` 1.2; k within 3 %, cp within 3 %."""
    name, brick = VDI_CLASS[group], WALLS[group]  # type: ignore[index]
    kelvin = temperature_c + 273.15
    assert brick.conductivity(temperature_c) == pytest.approx(refractory_VDI_k(name, kelvin), rel=0.03)
    assert brick.heat_capacity(temperature_c) == pytest.approx(refractory_VDI_Cp(name, kelvin), rel=0.03)
    assert brick.density == refractories[name][0]


@pytest.mark.parametrize(("group", "limit"), [(20, 640.0), (23, 770.0), (26, 860.0), (28, 960.0), (30, 1090.0)])
def test_brick_is_no_denser_than_its_astm_group_allows(group: int, limit: float) -> None:
    """ASTM C155-97 (2022), table 1, bulk density not over [kg/m³]; the table from memory."""
    assert WALLS[group].density <= limit  # type: ignore[index]


def test_better_insulating_groups_conduct_less() -> None:
    """The order of C155's groups is the order of conductivity at any firing temperature."""
    for temperature_c in (100.0, 500.0, 1000.0):
        values = [WALLS[g].conductivity(temperature_c) for g in (20, 23, 26, 28, 30)]  # type: ignore[index]
        assert values == sorted(values)


def _perry(cas: str, phase: str, kelvin: float) -> float:
    """Perry's Chemical Engineers' Handbook, table 2-151 [cal/molK], in J/kgK."""
    row = Cp_dict_PerryI[cas][phase]
    molar = row["Const"] + row["Lin"] * kelvin + row["Quadinv"] / kelvin**2 + row["Quad"] * kelvin**2
    return float(molar * 4.184 / MW(cas) * 1000.0)


def _janaf(cas: str, kelvin: float) -> float:
    """JANAF tables as `chemicals` holds them, in J/kgK."""
    kelvins, molar = Cp_dict_JANAF_liquid[cas]
    return float(np.interp(kelvin, kelvins, molar) / MW(cas) * 1000.0)


@pytest.mark.parametrize("kelvin", [600.0, 800.0, 1000.0, 1200.0])
def test_heat_capacities_are_those_of_the_tables(kelvin: float) -> None:
    """JANAF (alumina) and Perry's table 2-151 (silver, silica glass, anhydrite), through `chemicals`; within 1.5 %.

    Silver to 1100 K: Perry's gives it to its melting point; the model's table ends at 927 °C.
    """
    celsius = kelvin - 273.15

    def model(name: str) -> float:
        return float(np.interp(celsius, *HEAT_CAPACITIES[name]))

    assert model("silver") == pytest.approx(_perry("7440-22-4", "c", kelvin), rel=0.015)
    assert model("fused silica") == pytest.approx(_perry("7631-86-9", "gls", kelvin), rel=0.015)
    assert model("anhydrite") == pytest.approx(_perry("7778-18-9", "c", kelvin), rel=0.015)


def test_alumina_is_that_of_janaf() -> None:
    """`chemicals` tables corundum below the melting point under the liquid's key."""
    from chemicals.heat_capacity import Cp_dict_JANAF_solid

    table = Cp_dict_JANAF_solid.get("1344-28-1") or Cp_dict_JANAF_liquid["1344-28-1"]
    for celsius in (25.0, 327.0, 527.0, 727.0, 927.0):
        value = float(np.interp(celsius + 273.15, *table)) / MW("1344-28-1") * 1000.0
        assert float(np.interp(celsius, *HEAT_CAPACITIES["alumina"])) == pytest.approx(value, rel=0.015)


@pytest.mark.parametrize(
    ("celsius", "value"), [(40, 792), (300, 1077), (500, 1147), (700, 1189), (900, 1221), (1100, 1249)]
)
def test_fired_clay_follows_the_published_formula(celsius: float, value: float) -> None:
    """Michot, Smith, Degot & Gault: 1128 + 0.102 T - 36e6/T² J/kgK, T in K; values computed from it."""
    assert float(np.interp(celsius, *HEAT_CAPACITIES["fired clay"])) == pytest.approx(value, abs=2.0)


def test_gypsum_gives_off_its_water_for_the_heat_of_formation_balance() -> None:
    """CaSO4.2H2O -> CaSO4 + 2 H2O(g): -1434.5 - 2 · 241.82 + 2022.6 kJ/mol (the last from memory)."""
    molar = -1434.5 - 2 * 241.82 + 2022.6
    assert pytest.approx(molar * 1000.0 / 0.17217, rel=0.01) == GYPSUM_TO_ANHYDRITE_J_PER_KG


def test_first_heating_absorbs_the_heats_of_change_once() -> None:
    """The two enthalpy curves part by the heats of change, and by nothing below them."""
    for ware, heat in ((GREENWARE, 0.02 * 2.59e6 + 0.5e6), (FLASKS, 0.246 * 2.59e6 + 0.254 * 0.607e6)):
        tables = ware_enthalpy(ware)
        gap = tables.first_heating - tables.sensible
        assert gap[int((90 - TABLE_LOW_C) / TABLE_STEP_K)] == 0.0
        assert gap[-1] == pytest.approx(heat)
        assert np.all(np.diff(tables.sensible) > 0.0)


def test_kinds_of_work_find_their_ware_and_unknown_ones_the_heaviest() -> None:
    """By words in the studio's own name of the work."""
    names = {w: ware_for(w).name for w in ("Burnout", "glass", "slumping", "enamel", "metal-clay", "glaze", "pottery")}
    assert names == {
        "Burnout": "invested flasks", "glass": "glass", "slumping": "glass", "enamel": "copper and its enamel",
        "metal-clay": "silver metal clay", "glaze": "bisque ware with raw glaze", "pottery": "greenware",
    }  # fmt: skip
