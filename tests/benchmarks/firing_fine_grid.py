"""The firing model against a general stiff integrator on a fine grid: ``python -m tests.benchmarks.firing_fine_grid``.

Prints a table of 40 random kilns and profiles with the worst difference of any phase time; the tests do a few of them.
The formulation is independent of the kernel: temperatures and enthalpies as one system of ordinary differential
equations (method of lines, 48 wall cells from 0.2 mm on, 6 ware cells), radiation by the fourth power, steps and error
control by ``scipy.integrate.solve_ivp`` (BDF), arrivals by its event search; the power is worked out from the balance
of the chamber at each instant. Only material data, measures and coefficients are shared.
"""

from __future__ import annotations

import argparse
import math
import time
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from scheduler.firing import kernel
from scheduler.firing.course import FiringRequest
from scheduler.firing.materials import HEAT_CAPACITIES, Ware, ware_for
from scheduler.firing.network import build_network
from scheduler.firing.simulate import LEAST_WARE_KG, simulate_afresh
from shared.kilns import Brick, Kiln
from shared.profiles import Segment

Floats = NDArray[np.float64]
SIGMA = 5.670374419e-8
WALL_CELLS, WALL_GROWTH = 48, 1.12
WARE_CELLS = 6
LONGEST_S = 2.0e6


def _curve(ware: Ware | None) -> tuple[Floats, Floats, Floats]:
    """Temperatures every kelvin, enthalpy without and with heats of change [J/kg]."""
    grid = np.arange(-60.0, 1900.0, 1.0)
    points, values = HEAT_CAPACITIES["shelf" if ware is None else ware.cp]
    capacity = np.interp(grid, points, values) * (1.0 if ware is None else ware.dry_share)
    plain = np.concatenate(([0.0], np.cumsum(0.5 * (capacity[1:] + capacity[:-1]))))
    plain -= np.interp(0.0, grid, plain)
    extra = np.zeros_like(grid)
    for change in () if ware is None else ware.changes:
        extra += change.heat_j_per_kg * np.clip((grid - change.from_c) / (change.to_c - change.from_c), 0, 1)
    return grid, plain, plain + extra


@dataclass
class FineFiring:
    """One firing as a system of differential equations: chamber, wall cells, shelves (enthalpy), ware (enthalpy)."""

    request: FiringRequest
    want: float = 0.0
    mode: str = "off"
    target: float = 0.0
    open_share: float = 0.0
    ware_kg: float = 0.0
    watch: bool = False
    lag_s: float = 0.0
    convection: float = kernel.CONVECTION
    on_brick: float = kernel.POWER_ON_BRICK
    hottest: Floats = field(default_factory=lambda: np.zeros(WARE_CELLS))

    def __post_init__(self) -> None:
        request = self.request
        self.net = build_network(request.kiln, WALL_CELLS, WALL_GROWTH)
        self.ware = ware_for(request.work)
        self.ware_kg = max(request.ware_kg, LEAST_WARE_KG)
        self.shelf_kg = max(request.kiln.furniture_for(request.layers), LEAST_WARE_KG)
        self.grid, self.plain, self.heated = _curve(self.ware)
        _, self.shelf_h, _ = _curve(None)
        self.hottest = np.full(WARE_CELLS, request.room_c)
        n = self.net.cell_mass.size
        self.n = n
        start_h = np.interp(request.room_c, self.grid, self.heated)
        self.y = np.concatenate((
            [request.room_c], np.full(n, request.room_c), [np.interp(request.room_c, self.grid, self.shelf_h)],
            np.full(WARE_CELLS, start_h),
        ))  # fmt: skip
        if self.lag_s:
            self.y = np.append(self.y, request.room_c)
        self.now = 0.0
        self.seen: list[tuple[float, float]] = []

    def reset_ware(self) -> None:
        """Take up other ware, at the room's temperature."""
        self.grid, self.plain, self.heated = _curve(self.ware)
        self.y[2 + self.n : 2 + self.n + WARE_CELLS] = np.interp(self.request.room_c, self.grid, self.heated)

    def most_power(self, chamber_c: float) -> float:
        """Element power [W]."""
        del chamber_c
        return self.net.power_w

    def other_loss(self, chamber_c: float) -> float:
        """Losses that the model lacks [W]."""
        del chamber_c
        return 0.0

    def ware_c(self, h: Floats) -> Floats:
        """Temperatures of the ware's cells by their enthalpy, heats of change absorbed once."""
        top = np.interp(self.hottest, self.grid, self.heated)
        extra = top - np.interp(self.hottest, self.grid, self.plain)
        fresh = np.interp(h, self.heated, self.grid)
        again = np.interp(h - extra, self.plain, self.grid)
        return np.where(h >= top, fresh, again)

    def outside_w(self, last_c: float, k: float) -> float:
        """Heat through the last half cell to the room [W]: the jacket's balance by Newton's method."""
        room = self.request.room_c
        through = k / self.net.half_resistance[-1]
        jacket = room + 0.2 * (last_c - room)
        for _ in range(6):
            over = max(jacket - room, 0.1)
            loss = self.net.outside_m2 * (
                1.42 * (over / self.net.height_m) ** 0.25 * (jacket - room)
                + kernel.JACKET_EMISSIVITY * SIGMA * ((jacket + 273.15) ** 4 - (room + 273.15) ** 4)
            )
            slope = self.net.outside_m2 * (
                1.42 * 1.25 * (over / self.net.height_m) ** 0.25
                + 4 * kernel.JACKET_EMISSIVITY * SIGMA * (jacket + 273.15) ** 3
            )
            jacket -= (loss - through * (last_c - jacket)) / (slope + through)
        return float(through * (last_c - jacket))

    def rates(self, _t: float, y: Floats) -> Floats:
        """Time derivatives of the state; the last place of ``self.power`` is left for the energy."""
        net, request, n = self.net, self.request, self.n
        room = request.room_c
        chamber, wall, shelf_h, ware_h = y[0], y[1 : 1 + n], y[1 + n], y[2 + n : 2 + n + WARE_CELLS]
        shelf = np.interp(shelf_h, self.shelf_h, self.grid)
        ware = self.ware_c(ware_h)
        k = net.k[:, 0] + wall * (net.k[:, 1] + wall * net.k[:, 2])
        mean = 0.5 * (wall[1:] + wall[:-1])
        k_left = net.k[:-1, 0] + mean * (net.k[:-1, 1] + mean * net.k[:-1, 2])
        k_right = net.k[1:, 0] + mean * (net.k[1:, 1] + mean * net.k[1:, 2])
        inner = (wall[:-1] - wall[1:]) / (net.half_resistance[:-1] / k_left + net.half_resistance[1:] / k_right)
        out = self.outside_w(float(wall[-1]), float(k[-1]))
        hot4 = (chamber + 273.15) ** 4
        grey = 1 / (1 / kernel.WARE_EMISSIVITY + 1 / kernel.BRICK_EMISSIVITY - 1)
        face = net.hot_face_m2
        to_wall = face * (self.convection * (chamber - wall[0]) + grey * SIGMA * (hot4 - (wall[0] + 273.15) ** 4))
        area = self.shelf_kg * kernel.SHELF_M2_PER_KG
        to_shelf = area * (self.convection * (chamber - shelf) + 0.8 * SIGMA * (hot4 - (shelf + 273.15) ** 4))
        own = self.ware_kg * self.ware.surface_m2_per_kg
        area = 1 / (1 / own + 1 / (kernel.WARE_AREA_LIMIT * face))
        grey = 1 / (1 / kernel.WARE_EMISSIVITY + area / face * (1 / kernel.BRICK_EMISSIVITY - 1))
        spacing = self.ware.thickness_mm / 2000.0 / WARE_CELLS
        link = self.ware.conductivity * own / spacing
        film = area * (
            self.convection
            + grey * SIGMA * ((chamber + 273.15) ** 2 + (ware[0] + 273.15) ** 2) * (chamber + ware[0] + 546.3)
        )
        to_ware = (chamber - ware[0]) / (1 / film + 0.5 / link)
        between = link * (ware[:-1] - ware[1:])
        excess = max(chamber - room, 0.0)
        density = 353.0 / (chamber + 273.15)
        flow = 0.5 * kernel.DISCHARGE * net.leak_m2 * math.sqrt(9.81 * net.height_m * excess / (room + 273.15))
        gap4 = hot4 - (room + 273.15) ** 4
        lost = flow * density * kernel.AIR_CP * (chamber - room) + kernel.CRACK_VIEW * net.leak_m2 * SIGMA * gap4
        if request.vented:
            lost += net.vent_kg_per_s * kernel.AIR_CP * (chamber - room)
        if self.open_share:
            lid = net.lid_m2
            flow = kernel.LID_EXCHANGE * lid * math.sqrt(9.81 * math.sqrt(lid) * excess / (chamber + 273.15))
            lost += self.open_share * (flow * density * kernel.AIR_CP * (chamber - room) + 0.8 * lid * SIGMA * gap4)
        lost += self.other_loss(float(chamber))
        needs = to_wall + to_shelf + to_ware + lost
        most = self.most_power(float(chamber))
        share = 1.0 - self.on_brick
        if self.mode == "full":
            power = most
        elif self.mode == "off":
            power = 0.0
        else:
            want = self.want if self.mode == "rate" else (self.target - chamber) / 20.0
            power = min(max((net.chamber_j_per_k * want + needs) / share, 0.0), most)
        heat = np.empty_like(y)
        heat[0] = (share * power - needs) / net.chamber_j_per_k
        entering = np.concatenate(([to_wall + self.on_brick * power], inner))
        leaving = np.concatenate((inner, [out]))
        heat[1 : 1 + n] = (entering - leaving) / (net.cell_mass * (net.cp[:, 0] + net.cp[:, 1] * wall))
        heat[1 + n] = to_shelf / self.shelf_kg
        entering = np.concatenate(([to_ware], between))
        leaving = np.concatenate((between, [0.0]))
        heat[2 + n : 2 + n + WARE_CELLS] = (entering - leaving) / (self.ware_kg / WARE_CELLS)
        if self.lag_s:
            heat[-1] = (chamber - y[-1]) / self.lag_s
        return heat

    def reading(self, y: Floats) -> Floats:
        """What the sensor reads: the chamber, or the lagging state at the end."""
        read: Floats = y[-1] if self.lag_s else y[0]
        return read

    def run(self, seconds: float, until: float | None, rising: bool, warmest: bool = False) -> float:
        """Integrate; stop at ``until`` [°C] of the chamber (or of the warmest of chamber, face, shelves)."""
        self.hottest = np.maximum(self.hottest, self.ware_c(self.y[2 + self.n : 2 + self.n + WARE_CELLS]))
        events = None
        if until is not None:

            def gap(_t: float, y: Floats) -> float:
                here = float(self.reading(y))
                if warmest:
                    here = max(here, float(y[1]), float(np.interp(y[1 + self.n], self.shelf_h, self.grid)))
                return here - until

            if (gap(0, self.y) >= -1e-6) if rising else (gap(0, self.y) <= 1e-6):
                return 0.0
            gap.terminal = True  # type: ignore[attr-defined]
            gap.direction = 1.0 if rising else -1.0  # type: ignore[attr-defined]
            events = [gap]
        done = solve_ivp(
            self.rates, (0.0, seconds), self.y, method="BDF", rtol=1e-5, atol=1e-3, events=events, max_step=1800.0,
            dense_output=self.watch,
        )  # fmt: skip
        if done.status < 0 or not done.success or (until is not None and done.status != 1):
            raise RuntimeError(f"the reference does not get to {until}: {done.message}")
        self.y = done.y[:, -1]
        if self.watch and done.sol is not None:
            at = np.arange(0.0, float(done.t[-1]), 60.0)
            self.seen += list(zip((self.now + at).tolist(), self.reading(done.sol(at)).tolist(), strict=True))
        self.now += float(done.t[-1])
        return float(done.t[-1])

    def phases(self, opened: bool = True) -> list[float]:
        """Minutes after the start of every arrival and hold end, of safe and cold; and the open cooling's length."""
        request = self.request
        now, times = 0.0, []
        for i, segment in enumerate(request.segments):
            rising = bool(segment.to_c >= self.reading(self.y))
            rate = segment.rate_k_per_hour
            self.mode = ("full" if rising else "off") if rate is None else "rate"
            self.want = 0.0 if rate is None else (rate if rising else -rate) / 3600.0
            now += self.run(LONGEST_S, segment.to_c, rising)
            times.append(now)
            self.mode, self.target = "hold", segment.to_c
            if segment.hold_minutes:
                now += self.run(segment.hold_minutes * 60.0, None, True)
            times.append(now)
            if i == len(request.segments) - 1 and request.unload_hot:
                self.ware_kg = LEAST_WARE_KG
        self.mode = "off"
        kept, safe = self.y.copy(), times[-1]
        if request.unload_hot:
            cold = now + self.run(LONGEST_S, request.load_below_c, False)
        else:
            safe = now + self.run(LONGEST_S, request.unload_below_c, False)
            kept = self.y.copy()
            cold = safe + self.run(LONGEST_S, request.load_below_c, False)
        if not opened:
            return [t / 60.0 for t in (*times, safe, cold)]
        self.y, self.ware_kg, self.open_share = kept, LEAST_WARE_KG, 1.0
        open_cool = self.run(LONGEST_S, request.load_below_c, False, warmest=True)
        return [t / 60.0 for t in (*times, safe, cold, open_cool)]


def random_request(rng: np.random.Generator) -> FiringRequest:
    """A kiln and a profile that a studio might have."""
    work = str(rng.choice(["bisque", "glaze", "glass", "burnout", "metal-clay"]))
    litres = float(np.exp(rng.uniform(math.log(5.0), math.log(300.0))))
    side = (litres / 1000.0) ** (1 / 3) * 1000.0
    stretch = float(rng.uniform(0.8, 1.3))
    round_kiln = bool(rng.random() < 0.5)
    inside = (side / stretch * 1.1, side * stretch) if round_kiln else (side, side / stretch, side * stretch)
    bricks: tuple[Brick, ...] = (20, 23, 26, 28, "fibre")
    brick = bricks[int(rng.integers(5))]
    kilowatts = float(rng.uniform(0.9, 1.4)) * 0.42 * litres**0.62 * (1.4 if brick in (26, 28) else 1.0)
    kiln = Kiln(
        id="K", work=(work,), circuit="c", volts=240, amps=kilowatts * 1000 / 240, kilowatts=kilowatts,
        max_temperature_c=1300.0, inside_mm=tuple(round(v) for v in inside),
        wall_mm=float(rng.uniform(50, 115)), brick=brick, backup_mm=float(rng.choice([0.0, 25.0])),
        load_minutes=30, unload_minutes=30,
    )  # fmt: skip
    r = [float(v) for v in rng.uniform(0.7, 1.4, 4)]
    hold = [round(float(v) * 2) / 2 for v in rng.uniform(0.5, 3.0, 3)]

    def s(rate: float | None, to: float, hours: float = 0.0) -> Segment:
        return Segment(rate_k_per_hour=rate, to_c=to, hold_minutes=hours * 60.0)

    segments = {
        "bisque": (s(80 * r[0], 120, hold[0]), s(110 * r[1], 600), s(160 * r[2], 1040, 0.25)),
        "glaze": (s(180 * r[0], 1080), s(70 * r[1], 1180, 0.25), s(None, 1000), s(70 * r[2], 760)),
        "glass": (s(150 * r[0], 540, 0.5), s(250 * r[1], 800, 0.25), s(None, 515, hold[0]), s(50 * r[2], 400)),
        "burnout": (s(120 * r[0], 150, hold[0]), s(250 * r[1], 400, hold[1]), s(None, 720, hold[2]), s(None, 480, 1.0)),
        "metal-clay": (s(None, 890, hold[0]),),
    }[work]
    return FiringRequest(
        kiln=kiln, work=work, segments=segments, unload_hot=work == "burnout", vented=bool(rng.random() < 0.5),
        ware_kg=float(rng.uniform(0.03, 0.35)) * litres, layers=int(rng.integers(1, kiln.full_layers + 1)),
        room_c=float(rng.uniform(10, 30)), unload_below_c=float(rng.uniform(70, 120)), load_below_c=60.0,
    )  # fmt: skip


def model_phases(request: FiringRequest) -> list[float]:
    """The same times as the firing model gives them."""
    course, _ = simulate_afresh(request)
    times = [t for s in course.segments for t in (s.reached_minutes, s.hold_ends_minutes)]
    return [*times, course.safe_minutes, course.cold_minutes, course.open_cool_minutes]


def compare(seed: int) -> tuple[FiringRequest, list[float], list[float]] | None:
    """A random pair with both courses, or None where the kiln can't reach a target."""
    request = random_request(np.random.default_rng(seed))
    if not simulate_afresh(request)[0].reached:
        return None
    return request, model_phases(request), FineFiring(request).phases()


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=40)
    parser.add_argument("--seed", type=int, default=0)
    arguments = parser.parse_args()
    worst, done, seed, begun = 0.0, 0, arguments.seed, time.perf_counter()
    print(f"{'seed':>5} {'work':11} {'litres':>7} {'kW':>5} {'kg':>6} {'hot h':>7} {'safe h':>7} {'worst %':>8}  phase")
    while done < arguments.pairs:
        pair = compare(seed)
        if pair is not None:
            request, model, fine = pair
            off = [abs(a - b) / max(b, 1e-9) * 100 for a, b in zip(model, fine, strict=True)]
            i = int(np.argmax(off))
            worst = max(worst, off[i])
            names = [f"{w} {j + 1}" for j in range(len(request.segments)) for w in ("target", "hold")]
            print(f"{seed:5} {request.work:11} {request.kiln.volume_l:7.1f} {request.kiln.kilowatts:5.1f} "
                  f"{request.ware_kg:6.1f} {fine[-4] / 60:7.2f} {fine[-3] / 60:7.2f} {off[i]:8.2f}  "
                  f"{[*names, 'safe', 'cold', 'open'][i]}", flush=True)  # fmt: skip
            done += 1
        seed += 1
    print(
        f"{done} pairs of {seed - arguments.seed} drawn (the others can't reach their target), worst {worst:.2f} %, "
        f"{time.perf_counter() - begun:.0f} s"
    )


if __name__ == "__main__":
    main()
