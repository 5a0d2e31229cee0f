"""The stepper against closed solutions of the textbooks, within 1 %, on the grids that firings use unless said.

Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, is cited by its 5th/6th edition; section and equation
numbers and the books' numbers are from memory, and each is recomputed here from its formula.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import erfinv

from scheduler.firing import kernel
from scheduler.firing.network import WALL_CELLS, WALL_GROWTH, build_network, cell_depths, geometric_resistance
from scheduler.firing.simulate import simulate_afresh

Floats = NDArray[np.float64]


class Slab:
    """A slab of constant properties stepped by the kernel, 1 m² of it; its face meets a chamber held at ``chamber_c``.

    One shelf hangs in the same chamber, for the lumped solutions.
    """

    def __init__(
        self,
        thickness: float,
        k: float,
        density: float,
        cp: float,
        start_c: float,
        film: float,
        outside_g: float,
        cells: int = WALL_CELLS,
        growth: float = WALL_GROWTH,
        lump_j_per_k: float = 1.0,
    ) -> None:
        self.depths = cell_depths(thickness, cells, growth)
        steps = np.diff(self.depths)
        self.mass = density * steps
        self.half = steps / 2.0
        self.k = np.column_stack((np.full(cells, k), np.zeros(cells), np.zeros(cells)))
        self.cp = np.column_stack((np.full(cells, cp), np.zeros(cells)))
        self.wall = np.full(cells, start_c)
        self.wall_h = cp * self.wall
        self.cells = cells
        self.g = np.empty(cells + 6)
        self.g[0] = 1.0 / (1.0 / film + self.half[0] / k) if math.isfinite(film) else k / self.half[0]
        self.g[1:cells] = k / (self.half[:-1] + self.half[1:])
        self.g[cells] = outside_g
        self.g[cells + 1 :] = 1e-9
        self.p = np.ones(kernel.SCALARS)
        self.p[kernel.P_ROOM] = start_c
        self.p[kernel.P_SHELF_KG] = lump_j_per_k / 1000.0
        self.linear = 1000.0 * (kernel.TABLE_LOW_C + kernel.TABLE_STEP_K * np.arange(kernel.TABLE_CELLS + 1))
        self.s = np.full(kernel.STATE_SIZE, start_c)
        self.s[[kernel.H_SHELF, kernel.H_SKIN, kernel.H_CORE]] = 1000.0 * start_c
        self.s[kernel.WARE_KG] = 1e-3
        self.result = np.zeros(kernel.RESULTS)
        self.a, self.b, self.r = np.empty(cells), np.empty(cells), np.empty(7)

    def step(self, dt: float, chamber_c: float) -> None:
        """One step with the chamber at a given temperature."""
        kernel._eliminate(
            dt,
            self.p,
            self.mass,
            self.cp,
            self.wall,
            self.s,
            self.linear,
            self.linear,
            self.linear,
            0.5,
            self.g,
            self.a,
            self.b,
            self.r,
        )
        kernel._apply(
            dt,
            0.0,
            chamber_c,
            self.p,
            self.mass,
            self.half,
            self.k,
            self.cp,
            self.wall,
            self.wall_h,
            self.s,
            self.linear,
            self.linear,
            self.linear,
            0.5,
            self.g,
            self.a,
            self.b,
            self.r,
            self.result,
        )


@pytest.mark.parametrize(
    ("biot", "first_root", "first_factor"),
    [
        (0.1, 0.3111, 1.0161),
        (1.0, 0.8603, 1.1191),
        (10.0, 1.4289, 1.2620),
        (100.0, 1.5552, 1.2731),
    ],
)
def test_plane_wall_follows_the_one_term_solution(biot: float, first_root: float, first_factor: float) -> None:
    """Incropera & DeWitt, sec. 5.5.2, eq. 5.40 with table 5.1: θ* = C1 exp(-ζ1² Fo) at the insulated side, Fo > 0.2.

    On 30 cells: with the ten of firings, whose last is a quarter of the wall, Biot 10 and 100 are up to 1.5 % off.
    """
    k, density, cp, thickness = 0.2, 500.0, 1000.0, 0.1
    film = biot * k / thickness
    slab = Slab(thickness, k, density, cp, 20.0, film, 0.0, cells=30, growth=1.05)
    fourier_time = thickness**2 * density * cp / k
    for step in range(1, 1001):
        slab.step(fourier_time / 1000.0, 1020.0)
        fourier = step / 1000.0
        if fourier in (0.4, 0.7, 1.0):
            theta = first_factor * math.exp(-(first_root**2) * fourier)
            # The last cell's middle lies off the insulated side by half its thickness: θ falls by cos(ζ1 x*).
            place = slab.half[-1] / thickness
            expected = 1020.0 - 1000.0 * theta * math.cos(first_root * place)
            assert slab.wall[-1] == pytest.approx(expected, rel=0.01)
            assert (1020.0 - slab.wall[-1]) / 1000.0 == pytest.approx(theta * math.cos(first_root * place), abs=0.01)


def test_pipe_wall_of_the_book_is_43_degrees_after_eight_minutes() -> None:
    """Incropera & DeWitt, example 5.4: steel 40 mm, k 63.9, ρ 7832, c 434, h 500, -20 to 60 °C; book 42.9 °C (table
    interpolation), 43.0 °C from the exact root; 2.73e7 J per metre of a pipe of 1 m diameter."""
    slab = Slab(0.040, 63.9, 7832.0, 434.0, -20.0, 500.0, 0.0)
    for _ in range(240):
        slab.step(2.0, 60.0)
    assert slab.wall[-1] == pytest.approx(43.0, abs=0.01 * 80.0)
    heat = float(slab.mass @ (slab.wall_h - 434.0 * -20.0))
    assert heat * math.pi * 1.0 == pytest.approx(2.73e7, rel=0.01)


def test_semi_infinite_ground_freezes_to_the_depth_of_the_book() -> None:
    """Incropera & DeWitt, example 5.6 (water main), sec. 5.7, eq. 5.57: 20 °C soil, surface -15 °C, 60 days: 0.68 m."""
    k, density, cp = 0.52, 2050.0, 1840.0
    slab = Slab(6.0, k, density, cp, 20.0, math.inf, 0.0, cells=40, growth=1.08)
    for _ in range(60 * 48):
        slab.step(1800.0, -15.0)
    middles = (slab.depths[1:] + slab.depths[:-1]) / 2.0
    depth = float(np.interp(0.0, slab.wall, middles))
    exact = 2.0 * math.sqrt(k / (density * cp) * 60 * 86400.0) * float(erfinv(15.0 / 35.0))
    assert exact == pytest.approx(0.68, abs=0.005)
    assert depth == pytest.approx(exact, rel=0.01)


def test_semi_infinite_brick_takes_up_heat_with_the_root_of_time() -> None:
    """Carslaw & Jaeger, Conduction of Heat in Solids, sec. 2.4-2.5: Q = 2 k ΔT sqrt(t / (π α)). The first hour of a
    115 mm brick, face stepped by 1000 K, on the grid of firings."""
    k, density, cp = 0.18, 490.0, 1000.0
    slab = Slab(0.115, k, density, cp, 20.0, math.inf, 0.0)
    for _ in range(60):
        slab.step(60.0, 1020.0)
    taken = float(slab.mass @ (slab.wall_h - cp * 20.0))
    assert taken == pytest.approx(2.0 * 1000.0 * math.sqrt(k * density * cp * 3600.0 / math.pi), rel=0.01)


def test_lump_follows_the_exponential() -> None:
    """Incropera & DeWitt, sec. 5.1, eq. 5.6: θ/θi = exp(-hAt/ρVc); steps of a hundredth of the time constant."""
    slab = Slab(0.1, 0.2, 500.0, 1000.0, 20.0, 10.0, 0.0, lump_j_per_k=20_000.0)
    slab.g[slab.cells + 1] = 10.0  # time constant 2000 s
    for step in range(1, 301):
        slab.step(20.0, 1020.0)
        if step in (30, 100, 300):
            left = math.exp(-step * 20.0 / 2000.0)
            assert slab.s[kernel.SHELF] == pytest.approx(1020.0 - 1000.0 * left, rel=0.01)
            assert slab.s[kernel.H_SHELF] == pytest.approx(1000.0 * slab.s[kernel.SHELF])


@pytest.mark.parametrize(
    ("start_c", "around_c", "goals_c"), [(20.0, 1000.0, (300.0, 700.0, 950.0)), (1000.0, 20.0, (600.0, 300.0, 150.0))]
)
def test_radiating_lump_takes_the_time_of_the_handbook(
    start_c: float, around_c: float, goals_c: tuple[float, ...]
) -> None:
    """Incropera & DeWitt, sec. 5.3, eq. 5.18; Bejan & Kraus (eds), Heat Transfer Handbook, eq. 3.283."""
    slab = Slab(0.1, 0.2, 500.0, 1000.0, start_c, 10.0, 0.0, lump_j_per_k=20_000.0)
    area, emissivity = 0.5, 0.8
    around, start = around_c + 273.15, start_c + 273.15

    def book_time(to_c: float) -> float:
        to = to_c + 273.15
        logs = math.log(abs((around + to) / (around - to))) - math.log(abs((around + start) / (around - start)))
        arcs = 2.0 * (math.atan(to / around) - math.atan(start / around))
        return 20_000.0 / (4.0 * emissivity * area * 5.670374419e-8 * around**3) * (logs + arcs)

    dt = book_time(goals_c[0]) / 200.0
    t, before, goals = 0.0, start_c, list(goals_c)
    while goals:
        slab.g[slab.cells + 1] = emissivity * area * kernel._radiation(around_c, slab.s[kernel.SHELF])
        slab.step(dt, around_c)
        t += dt
        here = slab.s[kernel.SHELF]
        if (here - goals[0]) * (before - goals[0]) <= 0.0:
            found = t - dt * (here - goals[0]) / (here - before)
            assert found == pytest.approx(book_time(goals[0]), rel=0.01)
            goals.pop(0)
        before = here
        assert t < 20.0 * book_time(goals_c[-1])


def test_furnace_box_has_the_shape_factor_of_the_book(kiln_of) -> None:
    """Incropera & DeWitt, problem 4.20, shape factors of table 4.1: a cube of 5 m outside, 0.35 m of brick with k 1.4,
    1100 °C inside, 25 °C room, h 5: S = 345.3 m, R_conv = 0.00133 K/W, 316 kW."""
    box = kiln_of(inside_mm=(4300.0, 4300.0, 4300.0), wall_mm=350.0, brick=23)
    shape = 1.0 / geometric_resistance(box, 0.35)
    assert shape == pytest.approx(345.3, rel=0.001)
    convection = 1.0 / (5.0 * 6.0 * 25.0)
    assert convection == pytest.approx(0.00133, abs=0.00001)
    assert (1100.0 - 25.0) / (1.0 / (1.4 * shape) + convection) == pytest.approx(316e3, rel=0.01)


@pytest.mark.parametrize(("brick", "backup_mm"), [(23, 0.0), (26, 25.0), ("fibre", 25.0), (28, 50.0)])
def test_steady_wall_of_brick_and_board_loses_the_conductivity_integral(
    kiln_of, segment, firing_of, brick, backup_mm: float
) -> None:
    """Carslaw & Jaeger, sec. 1.6 and 2.16 (k a function of temperature): steady flow is the conductivity integral by
    the geometric resistance, layer by layer; Incropera & DeWitt, sec. 3.1.3, composite wall. After a hold of 300 h."""
    kiln = kiln_of(brick=brick, backup_mm=backup_mm, kilowatts=9.0)
    course, _ = simulate_afresh(firing_of(kiln, [segment(None, 1000.0, 300.0)], 10.0))
    held = course.power_kw[int(course.hot_minutes) - 5] * 1000.0

    net = build_network(kiln)
    brick_cells = WALL_CELLS
    resistance = 2.0 * np.array([net.half_resistance[:brick_cells].sum(), net.half_resistance[brick_cells:].sum()])
    room = 20.0
    hot = 1000.0 + 273.15
    flow = 0.5 * kernel.DISCHARGE * net.leak_m2 * math.sqrt(kernel.GRAVITY * net.height_m * 980.0 / 293.15)
    leak = flow * 353.0 / hot * kernel.AIR_CP * 980.0
    leak += kernel.CRACK_VIEW * net.leak_m2 * 5.670374419e-8 * (hot**4 - 293.15**4)

    def integral(cell: int, warm: float, cool: float) -> float:
        k0, k1, k2 = net.k[cell]
        return float(k0 * (warm - cool) + k1 / 2 * (warm**2 - cool**2) + k2 / 3 * (warm**3 - cool**3))

    def jacket_for(heat: float) -> float:
        """Down the layers from the face to the jacket, carrying ``heat`` [W]."""
        grey = 1.0 / (1.0 / kernel.WARE_EMISSIVITY + 1.0 / kernel.BRICK_EMISSIVITY - 1.0)
        from_chamber = heat - kernel.POWER_ON_BRICK * (heat + leak)

        def face_gap(face_c: float) -> float:
            exchange = kernel.CONVECTION * (1000.0 - face_c) + grey * 5.670374419e-8 * (hot**4 - (face_c + 273.15) ** 4)
            return net.hot_face_m2 * exchange - from_chamber

        warm = float(brentq(face_gap, 500.0, 1400.0))
        for layer, cell in enumerate((0, -1)):
            if resistance[layer] > 0.0:
                need = heat * resistance[layer]
                if integral(cell, warm, -200.0) < need:
                    return -200.0
                warm = float(brentq(lambda cool, w=warm, c=cell, n=need: integral(c, w, cool) - n, -200.0, warm))
        return warm

    def surplus(heat: float) -> float:
        jacket = jacket_for(heat)
        over = max(jacket - room, 0.1)
        away = 1.42 * (over / net.height_m) ** 0.25 * (jacket - room)
        away += kernel.JACKET_EMISSIVITY * 5.670374419e-8 * ((jacket + 273.15) ** 4 - 293.15**4)
        return net.outside_m2 * away - heat

    expected = float(brentq(surplus, 50.0, 8000.0)) + leak
    assert held == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("inside", [(40.0, 40.0, 40.0), (100.0, 60.0), (600.0, 600.0, 800.0), (2000.0, 50.0, 50.0)])
def test_a_thicker_wall_always_resists_more(kiln_of, inside: tuple[float, ...]) -> None:
    """Langmuir's form alone turns over where the wall is thicker than the box is wide."""
    kiln = kiln_of(inside_mm=inside)
    depths = np.linspace(0.0, 1.2, 400)
    assert np.all(np.diff([geometric_resistance(kiln, float(d)) for d in depths]) > 0.0)
