"""How fast the firing model is: ``python -m tests.benchmarks.firing_speed``. Prints a table; fails on nothing.

What issue 3 asks (show 6), on one core, warm unless said: 1,000 forty-hour firings at one-minute steps under 3 s, one
under 5 ms, the first of a fresh process with its imports under 1 s, the sample studio's table under 1 s.
"""

from __future__ import annotations

import argparse
import importlib.resources
import platform
import subprocess
import sys
import time
from itertools import product
from pathlib import Path

from scheduler.firing.course import FiringRequest
from scheduler.firing.simulate import simulate, simulate_afresh
from shared.files import read_folder
from shared.kilns import Kiln
from shared.profiles import Segment

FILLS = (0.05, 0.25, 0.5, 0.75, 1.0)
"""Fill levels of the table [-], of FULL_KG_PER_L."""
FULL_KG_PER_L = 0.4
"""Ware of a packed kiln by volume [kg/l]; common practice 0.2 to 0.4."""

FRESH = """
import time
begun = time.perf_counter()
from tests.benchmarks.firing_speed import forty_hours
from scheduler.firing.simulate import simulate_afresh
simulate_afresh(forty_hours(30.0))
print(time.perf_counter() - begun)
"""


def forty_hours(ware_kg: float) -> FiringRequest:
    """A bisque in a 100 l kiln that takes about forty hours from start to cold."""
    kiln = Kiln(
        id="K", work=("bisque",), circuit="c", volts=240, amps=29.2, kilowatts=7.0, max_temperature_c=1280.0,
        inside_mm=(450.0, 630.0), wall_mm=76.0, brick=23, load_minutes=30, unload_minutes=30,
    )  # fmt: skip
    segments = (
        Segment(rate_k_per_hour=60, to_c=120, hold_minutes=180),
        Segment(rate_k_per_hour=110, to_c=1060, hold_minutes=15),
    )
    return FiringRequest(
        kiln=kiln, work="bisque", segments=segments, unload_hot=False, vented=False, ware_kg=ware_kg, layers=3,
        room_c=20.0, unload_below_c=60.0, load_below_c=50.0,
    )  # fmt: skip


def studio_table(folder: Path) -> list[FiringRequest]:
    """Requests for all kiln, profile, row and fill levels of a studio folder."""
    studio, _ = read_folder(folder)
    requests = []
    for kiln, profile in product(studio.kilns, studio.profiles):
        if profile.work not in kiln.work:
            continue
        for row, fill in product(profile.rows, FILLS):
            requests.append(FiringRequest(
                kiln=kiln, work=profile.work, segments=profile.segments(row), unload_hot=profile.unload == "hot",
                vented=profile.vent, ware_kg=fill * FULL_KG_PER_L * kiln.volume_l,
                layers=max(1, round(fill * kiln.full_layers)), room_c=studio.place.room_c,
                unload_below_c=profile.unload_below_c or 100.0, load_below_c=studio.rules.load_below_c,
            ))  # fmt: skip
    return requests


def _seconds(action: object) -> float:
    begun = time.perf_counter()
    assert callable(action)
    action()
    return time.perf_counter() - begun


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--firings", type=int, default=1000)
    firings = parser.parse_args().firings
    course, _ = simulate_afresh(forty_hours(30.0))
    print(f"{platform.machine()}, Python {platform.python_version()}; firing of {len(course.temperature_c) / 60:.1f} h")
    single = min(_seconds(lambda: simulate_afresh(forty_hours(30.0))) for _ in range(10))
    batch = [forty_hours(20.0 + i / firings * 20.0) for i in range(firings)]
    many = _seconds(lambda: simulate(batch))
    again = _seconds(lambda: simulate(batch))
    fresh = [
        float(subprocess.run([sys.executable, "-c", FRESH], check=True, capture_output=True, text=True).stdout)
        for _ in range(3)
    ]
    print(f"{'one firing, warm':46}{single * 1000:9.2f} ms   (asked: 5)")
    print(f"{f'{firings} different firings, one core':46}{many:9.2f} s    (asked: 3 for 1000)")
    print(f"{'the same again, from memory':46}{again:9.3f} s")
    print(f"{'first firing of a fresh process, with imports':46}{min(fresh):9.2f} s    (asked: 1)")
    folder = Path(str(importlib.resources.files("sample_studio")))
    requests = studio_table(folder)
    table = _seconds(lambda: simulate(requests))
    print(f"{f'sample studio, {len(requests)} firings of the table':46}{table:9.2f} s    (asked: 1)")
    for request in requests:
        done = simulate([request])[0]
        if not done.reached:
            peak = max(s.to_c for s in request.segments)
            what = f"{request.kiln.id} {request.work} {peak:.0f} °C, {request.ware_kg:.0f} kg"
            print(f"  {what}: stalls at {done.stalled_at_c:.0f} °C")


if __name__ == "__main__":
    main()
