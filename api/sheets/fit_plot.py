"""A drawing of recorded firings against the fitted model, as one SVG file that needs nothing else."""

from __future__ import annotations

from dataclasses import dataclass

from api.fitting import FitOutcome
from api.formats import Formats
from api.printing.plot import tick_step
from api.sheets.environment import template_environment
from scheduler.firing.fit import LogFit
from shared.units import TemperatureUnit, degrees

WIDTH, PANEL = 720.0, 260.0
LEFT, RIGHT, TOP, BOTTOM = 54.0, 706.0, 34.0, 226.0
"""Edges of a panel and of the field within it [SVG user units]."""


@dataclass(frozen=True, slots=True)
class Panel:
    """One log: readings as dots, the fitted model as a line."""

    top: float
    name: str
    dots: tuple[tuple[float, float], ...]
    line: str
    hours: tuple[tuple[float, str], ...]
    temperatures: tuple[tuple[float, str], ...]


def fit_plot(outcome: FitOutcome, formats: Formats) -> str:
    """The drawing, one panel a log."""
    unit = formats.studio.controller_unit(outcome.kiln)
    panels = [_panel(log, number * PANEL, unit) for number, log in enumerate(outcome.fit.logs)]
    words = formats.words
    return (
        template_environment()
        .get_template("fit.svg")
        .render(
            panels=panels,
            width=WIDTH,
            height=PANEL * len(panels),
            unit=unit,
            title=words("fit.plot_title", kiln=outcome.kiln.title),
            key=f"{words('fit.plot_dots')} · {words('fit.plot_line')}",
        )
    )


def _panel(log: LogFit, top: float, unit: TemperatureUnit) -> Panel:
    measured = [degrees(float(value), unit) for value in log.measured_c]
    fitted = [degrees(float(value), unit) for value in log.fitted_c]
    longest = float(log.minutes[-1])
    tick = tick_step(max(*measured, *fitted))
    highest = max(1, -int(-max(*measured, *fitted) // tick)) * tick
    step = next((hours for hours in (1, 2, 4, 6, 12, 24) if longest / 60 / hours <= 12), 48)

    def x(minutes: float) -> float:
        return round(LEFT + (RIGHT - LEFT) * minutes / longest, 1)

    def y(degree: float) -> float:
        return round(top + BOTTOM - (BOTTOM - TOP) * max(0.0, degree) / highest, 1)

    minutes = [float(value) for value in log.minutes]
    return Panel(
        top=top,
        name=log.name,
        dots=tuple((x(at), y(value)) for at, value in zip(minutes, measured, strict=True)),
        line=" ".join(f"{x(at)},{y(value)}" for at, value in zip(minutes, fitted, strict=True)),
        hours=tuple((x(hour * 60), f"{hour} h") for hour in range(0, int(longest / 60) + 1, step)),
        temperatures=tuple((y(tick * n), f"{tick * n:.0f} °{unit}") for n in range(int(highest / tick) + 1)),
    )
