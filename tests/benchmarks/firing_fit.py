"""Fits on synthetic kilns with a hidden truth: ``python -m tests.benchmarks.firing_fit [--kilns N]``. Prints a table.

The truth is the finer model of ``firing_fine_grid`` (48 wall cells, 6 ware cells, stiff integrator) with hidden power,
loss and storage and with effects that the fitted model lacks: a bent conductivity curve, other cracks, a heat bridge,
elements that lose power when hot, another convection and share of power on the brick, a sensor that lags, damp ware,
another room, a supply that differs from day to day. Each kiln gives three logs (1 to 5 minute sampling, 3 K noise,
gaps, charge known to 7 %, some ending before the kiln is cold); then another profile is predicted and compared with
its truth.

Asked for by issue 3: end of heating median 1.3 %, 90th percentile 5 %; safe time 2.5 % and 6.5 %; the 80 % band holds
the truth in 75 to 85 %.
"""

from __future__ import annotations

import argparse
import dataclasses
import multiprocessing
import platform
import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.firing.bands import firing_band
from scheduler.firing.course import Course, FiringRequest
from scheduler.firing.fit import FitRefused, fit_kiln
from scheduler.firing.materials import Change
from scheduler.firing.network import Factors
from scheduler.firing.recorded import RecordedFiring
from scheduler.firing.simulate import simulate_afresh
from shared.kilns import Kiln
from shared.profiles import Segment
from tests.benchmarks.firing_fine_grid import FineFiring, random_request

Floats = NDArray[np.float64]
MASS_ERROR = 0.07
NOISE_K = 3.0
SUPPLY_ERROR = 0.01
"""Power from day to day [-]: half a percent of voltage."""


@dataclass(frozen=True)
class Hidden:
    """What is true of a kiln and known to nobody."""

    factors: Factors
    leak: float
    bend: float
    bridge_w_per_k: float
    droop: float
    convection: float
    on_brick: float
    lag_s: float
    supply: float


def hidden_kiln(rng: np.random.Generator, kiln: Kiln) -> Hidden:
    """Draw a kiln's truth."""

    def spread(sigma: float) -> float:
        return float(np.exp(rng.normal(0.0, sigma)))

    return Hidden(
        factors=Factors(power=0.97 * spread(0.07), loss=spread(0.25), storage=spread(0.12)),
        leak=spread(0.4), bend=float(rng.uniform(-0.15, 0.15)),
        bridge_w_per_k=float(rng.uniform(0.0, 0.25)) * kiln.inside_surface_m2, droop=float(rng.uniform(0.01, 0.05)),
        convection=8.0 * spread(0.2), on_brick=float(rng.uniform(0.4, 0.6)),
        lag_s=float(rng.uniform(20.0, 120.0)), supply=SUPPLY_ERROR,
    )  # fmt: skip


class TrueFiring(FineFiring):
    """A firing of a hidden kiln in the finer model."""

    def __init__(self, request: FiringRequest, hidden: Hidden, rng: np.random.Generator) -> None:
        self.hidden = hidden
        self.supply = float(np.exp(rng.normal(0.0, hidden.supply)))
        # Clay is never quite as dry as it was; glass and metal hold no water.
        damp = float(rng.uniform(0.0, 0.03)) if request.work in ("bisque", "glaze") else 0.0
        super().__init__(
            request, watch=True, lag_s=hidden.lag_s, convection=hidden.convection, on_brick=hidden.on_brick
        )  # fmt: skip
        net = self.net.with_factors(hidden.factors)
        # The same conductivity at 600 °C, bent up or down towards both ends.
        k = net.k.copy()
        k[:, 0] *= 1.0 - hidden.bend
        k[:, 1] += hidden.bend * net.k[:, 0] / 600.0
        self.net = dataclasses.replace(net, k=k, leak_m2=net.leak_m2 * hidden.leak)
        if damp:
            water = Change(damp * 2.59e6, 95.0, 125.0)
            self.ware = dataclasses.replace(self.ware, changes=(*self.ware.changes, water))
            self.reset_ware()

    def most_power(self, chamber_c: float) -> float:
        """Elements have a tenth or so more resistance when hot; a supply that differs from day to day."""
        return self.net.power_w * self.supply * (1.0 - self.hidden.droop * (chamber_c / 1000.0 - 0.5))

    def other_loss(self, chamber_c: float) -> float:
        """Elements' tails, lid band, posts: a heat bridge."""
        return self.hidden.bridge_w_per_k * (chamber_c - self.request.room_c)


def record(request: FiringRequest, hidden: Hidden, rng: np.random.Generator) -> tuple[list[float], Floats, Floats]:
    """Phase times [min] and the noisy readings of one true firing."""
    truth = TrueFiring(request, hidden, rng)
    phases = truth.phases(opened=False)
    seen = np.array(truth.seen)
    every = float(rng.uniform(1.0, 5.0))
    end = seen[-1, 0] / 60.0
    at = np.cumsum(rng.uniform(0.6, 1.4, int(end / every)) * every)
    at = at[at < end]
    for _ in range(int(rng.integers(0, 3))):
        gap, length = float(rng.uniform(0.0, end)), float(rng.uniform(15.0, 90.0))
        at = at[(at < gap) | (at > gap + length)]
    heats = np.interp(at * 60.0, seen[:, 0], seen[:, 1]) + rng.normal(0.0, NOISE_K, at.size)
    if rng.random() < 0.3:
        keep = at < phases[-3] + float(rng.uniform(60.0, 240.0))
        at, heats = at[keep], heats[keep]
    return phases, at, np.round(heats)


def _profiles(work: str, rng: np.random.Generator) -> tuple[list[tuple[Segment, ...]], tuple[Segment, ...]]:
    """Three profiles that are logged and another one that is predicted."""

    def s(rate: float | None, to: float, hours: float = 0.0) -> Segment:
        return Segment(rate_k_per_hour=rate, to_c=to, hold_minutes=hours * 60.0)

    j = [float(v) for v in rng.uniform(0.85, 1.2, 6)]
    fast: float | None = None if rng.random() < 0.5 else 300.0 * j[5]
    if work in ("bisque", "glaze"):
        bisque = (s(80 * j[0], 120, 1.0), s(120 * j[1], 600), s(170 * j[2], 1030, 0.25))
        glaze = (s(190 * j[3], 1050), s(75 * j[4], 1130, 0.25))
        return [bisque, glaze, bisque], (s(fast, 1000), s(100 * j[0], 1080, 0.5))
    if work == "glass":
        fuse = (s(150 * j[0], 540, 0.5), s(250 * j[1], 800, 0.25), s(None, 515, 1.0), s(60 * j[2], 400))
        slump = (s(120 * j[3], 540), s(100 * j[4], 660, 0.25), s(None, 520, 1.0), s(60 * j[2], 400))
        return [fuse, slump, fuse], (s(fast, 740, 0.5), s(None, 515, 2.0))
    sinter = (s(280 * j[0], 840, 2.0),)
    quick = (s(None, 650, 0.5),)
    return [sinter, quick, sinter], (s(fast, 890, 1.0),)


@dataclass(frozen=True)
class Outcome:
    """One kiln's prediction against its truth."""

    seed: int
    work: str
    litres: float
    hot_error: float
    safe_error: float
    hot_inside: bool
    safe_inside: bool
    hot_z: float
    safe_z: float
    free: bool
    power_known: bool
    plate_hot_error: float
    plate_safe_error: float


def try_kiln(seed: int) -> Outcome | str:
    """Log, fit, predict; or why this draw says nothing."""
    rng = np.random.default_rng(seed)
    drawn = random_request(rng)
    work = drawn.work if drawn.work != "burnout" else "metal-clay"
    kiln = drawn.kiln
    hidden = hidden_kiln(rng, kiln)
    logged, other = _profiles(work, rng)
    logs: list[RecordedFiring] = []
    try:
        for segments in logged:
            kg = float(rng.uniform(0.05, 0.3)) * kiln.volume_l
            request = dataclasses.replace(
                drawn,
                work=work,
                segments=segments,
                unload_hot=False,
                ware_kg=kg,
                unload_below_c=90.0,
                load_below_c=60.0,
            )
            true = dataclasses.replace(
                request, ware_kg=kg * float(np.exp(rng.normal(0.0, MASS_ERROR))),
                room_c=request.room_c + float(rng.normal(0.0, 2.0)),
            )  # fmt: skip
            _, minutes, heats = record(true, hidden, rng)
            logs.append(RecordedFiring(request, minutes, heats, mass_error=MASS_ERROR, name=f"log {len(logs) + 1}"))
        kg = float(rng.uniform(0.05, 0.3)) * kiln.volume_l
        request = dataclasses.replace(logs[0].request, segments=other, ware_kg=kg)
        true = dataclasses.replace(request, ware_kg=kg * float(np.exp(rng.normal(0.0, MASS_ERROR))))
        phases, _, _ = record(true, hidden, rng)
    except RuntimeError:
        return "a true kiln cannot reach the target"
    try:
        found = fit_kiln(kiln, logs)
    except FitRefused as refused:
        return f"refused: {refused}"
    plan = dataclasses.replace(request, kiln=kiln.model_copy(update={"fitted": found.fitted}))
    course = simulate_afresh(plan)[0]
    plate = simulate_afresh(request)[0]
    if not course.reached:
        return "the fitted model says that the kiln cannot reach the target, but it does"
    band = firing_band(plan, MASS_ERROR)
    hot, safe = phases[2 * len(other) - 1], phases[-2]
    z = [float(np.log(t / b.middle_minutes) / max(b.log_error, 1e-9)) for t, b in ((hot, band.hot), (safe, band.safe))]
    return Outcome(
        seed, work, kiln.volume_l, course.hot_minutes / hot - 1.0, course.safe_minutes / safe - 1.0,
        band.hot.low_minutes <= hot <= band.hot.high_minutes, band.safe.low_minutes <= safe <= band.safe.high_minutes,
        z[0], z[1], _limited(course, other), "power" not in found.undetermined,
        (plate.hot_minutes if plate.reached else np.nan) / hot - 1.0,
        (plate.safe_minutes if plate.reached else np.nan) / safe - 1.0,
    )  # fmt: skip


def _limited(course: Course, segments: tuple[Segment, ...]) -> bool:
    """Whether the kiln, not the program, decides when the firing ends: a ramp at full power, or one that stretches."""
    begins, before = 0.0, float(course.temperature_c[0])
    for segment, stage in zip(segments, course.segments, strict=True):
        rate = segment.rate_k_per_hour
        if rate is None or stage.reached_minutes - begins > abs(segment.to_c - before) / rate * 60.0 + 2.0:
            return True
        begins, before = stage.hold_ends_minutes, segment.to_c
    return False


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kilns", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--each", action="store_true", help="print each kiln")
    arguments = parser.parse_args()
    begun, done, other = time.perf_counter(), [], []
    seed = arguments.seed
    with multiprocessing.Pool(arguments.jobs) as pool:
        for result in pool.imap(try_kiln, range(seed, seed + 3 * arguments.kilns)):
            if isinstance(result, Outcome):
                done.append(result)
                if arguments.each:
                    print(result, flush=True)
            else:
                other.append(result)
            if len(done) == arguments.kilns:
                break
        pool.terminate()
    print(f"{len(done)} kilns, seeds {seed} to {seed + len(done) + len(other) - 1}, {platform.machine()}, "
          f"{time.perf_counter() - begun:.0f} s with {arguments.jobs} process(es)")  # fmt: skip
    for reason in sorted(set(other)):
        print(f"  {other.count(reason)} draws left out: {reason}")

    def line(name: str, errors: Floats, inside: Floats | None, asked: str) -> None:
        held = "" if inside is None else f"{np.mean(inside):9.1%}"
        print(f"{name:44}{np.nanmedian(errors):9.2%}{np.nanpercentile(errors, 90):9.2%}{held:>9}   {asked}")

    print(f"{'error of the time from the start':44}{'median':>9}{'90 %':>9}{'in band':>9}   asked")
    hot, safe = (np.array([abs(getattr(o, f"{w}_error")) for o in done]) for w in ("hot", "safe"))
    free = np.array([o.free for o in done])
    hot_in, safe_in = (np.array([getattr(o, f"{w}_inside") for o in done]) for w in ("hot", "safe"))
    line("end of heating, all", hot, None, "1.3 %, 5 %")
    line(f"end of heating, where the kiln limits it ({free.sum()})", hot[free], hot_in[free], "75 to 85 % in the band")
    known = np.array([o.power_known for o in done])
    line(f"  logs determine the power ({(free & known).sum()})", hot[free & known], hot_in[free & known], "")
    line(f"  logs only follow the program ({(free & ~known).sum()})", hot[free & ~known], hot_in[free & ~known], "")
    line("safe to unload", safe, safe_in, "2.5 %, 6.5 %, 75 to 85 %")
    line("by the plate alone: end of heating", np.array([abs(o.plate_hot_error) for o in done]), None, "")
    line("by the plate alone: safe", np.array([abs(o.plate_safe_error) for o in done]), None, "")
    both = np.concatenate([hot_in[free], safe_in])
    hot_z, safe_z = np.std([o.hot_z for o in done if o.free]), np.std([o.safe_z for o in done])
    print(f"all bands together hold the truth in {np.mean(both):.1%}")
    print(f"spread of the truth in band units (1 is honest): hot {hot_z:.2f}, safe {safe_z:.2f}")
    print(f"bias: hot {np.mean([o.hot_error for o in done]):+.2%}, safe {np.mean([o.safe_error for o in done]):+.2%}")


if __name__ == "__main__":
    main()
