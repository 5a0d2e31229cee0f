"""Writes the sample studio's recorded firings: ``python -m tests.sample_studio.record_logs``.

They are invented. The thermal model computes each course with factors that the studio does not know yet, and a
made-up logger reads it: every three minutes, whole degrees, with noise, once with a gap.
"""

from __future__ import annotations

import csv
import importlib.resources
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

import numpy as np

from scheduler.firing.course import FiringRequest
from scheduler.firing.simulate import simulate_one
from shared.files import read_folder
from shared.kilns import Fitted
from shared.studio import Studio

KILN = "K2"
HIDDEN = Fitted(power=0.92, loss=1.08, storage=1.04)
"""What the fit should find, about: elements a little tired, a lid that no longer closes well, a heavier furniture."""

NOISE_K = 2.0
"""Standard deviation of a reading [K]; a type K thermocouple with its controller, common practice."""

EVERY_MINUTES = 3.0


@dataclass(frozen=True, slots=True)
class Recording:
    """One invented firing: its profile and charge, when it began, and the gap in its log [min]."""

    file: str
    profile: str
    size_row: int | None
    ware_kg: float
    layers: int
    began: datetime
    gap: tuple[float, float] | None = None


RECORDINGS = (
    Recording("2026-11-09-K2-glaze-6.csv", "glaze-6", None, 26.0, 4, datetime(2026, 11, 9, 10, 20)),
    Recording("2026-11-13-K2-bisque.csv", "bisque", 0, 36.0, 4, datetime(2026, 11, 13, 21, 5), gap=(800, 835)),
    Recording("2026-11-18-K2-glaze-6.csv", "glaze-6", None, 21.0, 3, datetime(2026, 11, 18, 9, 55)),
)


def readings(studio: Studio, recording: Recording) -> list[tuple[str, int]]:
    """Time and temperature [°C] of every reading, from the start until the kiln may be loaded again."""
    profile = studio.profile_by_id[recording.profile]
    kiln = studio.kiln_by_id[KILN].model_copy(update={"fitted": HIDDEN})
    course = simulate_one(
        FiringRequest(
            kiln=kiln,
            work=profile.work,
            segments=profile.segments(recording.size_row),
            unload_hot=False,
            vented=profile.vent and kiln.vented,
            ware_kg=recording.ware_kg,
            layers=recording.layers,
            room_c=studio.place.room_c,
            unload_below_c=studio.unload_below_c(profile),
            load_below_c=studio.rules.load_below_c,
        )
    )
    rng = Random(recording.file)
    minutes = np.arange(0.0, course.cold_minutes, EVERY_MINUTES)
    true_c = np.interp(minutes, np.arange(len(course.temperature_c)) * course.step_minutes, course.temperature_c)
    return [
        ((recording.began + timedelta(minutes=float(at))).isoformat(), round(float(heat) + rng.gauss(0.0, NOISE_K)))
        for at, heat in zip(minutes, true_c, strict=True)
        if recording.gap is None or not recording.gap[0] < at < recording.gap[1]
    ]


def main() -> None:
    """Write all of them into the sample studio."""
    folder = Path(str(importlib.resources.files("sample_studio")))
    studio, _ = read_folder(folder)
    for recording in RECORDINGS:
        with (folder / "logs" / recording.file).open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(("time", "temperature_c"))
            writer.writerows(readings(studio, recording))


if __name__ == "__main__":
    main()
