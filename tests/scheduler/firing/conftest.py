"""Kilns and firings that the firing model's tests share, and the benchmark scripts that they reuse."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from scheduler.firing.course import FiringRequest
from shared.kilns import Kiln
from shared.profiles import Segment


def make_kiln(
    inside_mm: tuple[float, ...] = (450.0, 630.0),
    kilowatts: float = 7.0,
    wall_mm: float = 64.0,
    brick: Any = 23,
    **more: Any,
) -> Kiln:
    """A kiln of 100 l at 7 kW, or another."""
    volts = more.pop("volts", 240.0)
    return Kiln(
        id="K", work=("bisque",), circuit="c", volts=volts, amps=kilowatts * 1000.0 / volts, kilowatts=kilowatts,
        max_temperature_c=1300.0, inside_mm=inside_mm, wall_mm=wall_mm, brick=brick, load_minutes=30.0,
        unload_minutes=30.0, **more,
    )  # fmt: skip


def make_segment(rate: float | None, to_c: float, hold_h: float = 0.0, up_to_h: float | None = None) -> Segment:
    """A segment; the hold in hours, as studio files have it."""
    return Segment(
        rate_k_per_hour=rate,
        to_c=to_c,
        hold_minutes=hold_h * 60.0,
        hold_up_to_minutes=None if up_to_h is None else up_to_h * 60.0,
    )


def make_request(kiln: Kiln, segments: list[Segment], ware_kg: float = 20.0, **more: Any) -> FiringRequest:
    """A firing of greenware from 20 °C, unloaded below 100 °C."""
    given: dict[str, Any] = {
        "work": "bisque", "unload_hot": False, "vented": False, "layers": kiln.full_layers, "room_c": 20.0,
        "unload_below_c": 100.0, "load_below_c": 60.0, **more,
    }  # fmt: skip
    return FiringRequest(kiln=kiln, segments=tuple(segments), ware_kg=ware_kg, **given)


@pytest.fixture
def kiln_of() -> Callable[..., Kiln]:
    """Makes kilns."""
    return make_kiln


@pytest.fixture
def segment() -> Callable[..., Segment]:
    """Makes segments."""
    return make_segment


@pytest.fixture
def firing_of() -> Callable[..., FiringRequest]:
    """Makes requests."""
    return make_request


@pytest.fixture
def benchmark_script() -> Callable[[str], ModuleType]:
    """Loads a script of tests/benchmarks by name."""

    def load(name: str) -> ModuleType:
        path = Path(__file__).parents[2] / "benchmarks" / f"{name}.py"
        spec = importlib.util.spec_from_file_location(f"benchmarks_{name}", path)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[spec.name] = module
        spec.loader.exec_module(module)
        return module

    return load
