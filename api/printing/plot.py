"""A curve drawn with the dots of the braille block, for the terminal: two by four dots a character."""

from __future__ import annotations

from collections.abc import Sequence

from shared.units import TemperatureUnit, degrees

_BLANK = 0x2800
_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))


def plot(
    temperature_c: Sequence[float],
    step_minutes: float,
    unit: TemperatureUnit,
    marks: Sequence[tuple[float, str]],
    width: int = 72,
    height: int = 14,
) -> str:
    """A temperature course as lines of text, degrees at the left, times below.

    Parameters
    ----------
    temperature_c
        Temperatures [°C] at even steps.
    step_minutes
        Length of a step [min].
    unit
        The unit of the labels at the left.
    marks
        Times [min after the first value] to be written below, each with its text.
    width, height
        Size of the drawing [characters].
    """
    shown = [degrees(value, unit) for value in temperature_c]
    tick = tick_step(max(shown))
    top = max(1, -int(-max(shown) // tick)) * tick
    rows = [[0] * width for _ in range(height)]
    columns = width * 2
    previous: int | None = None
    for column in range(columns):
        value = shown[round(column * (len(shown) - 1) / (columns - 1))]
        level = max(0, min(height * 4 - 1, round(value / top * (height * 4 - 1))))
        for dot in _between(previous, level):
            line, part = divmod(height * 4 - 1 - dot, 4)
            rows[line][column // 2] |= _DOTS[part][column % 2]
        previous = level
    labels = {
        height - 1 - round(level * tick / top * (height - 1)): level * tick for level in range(int(top / tick) + 1)
    }
    lines = []
    for number, row in enumerate(rows):
        left = f"{labels[number]:>6.0f} °{unit} " if number in labels else " " * 10
        lines.append((left + "".join(chr(_BLANK + dots) for dots in row).rstrip(chr(_BLANK))).rstrip())
    minutes = (len(shown) - 1) * step_minutes
    lines.append((" " * 10 + _time_axis(minutes, marks, width)).rstrip())
    return "\n".join(lines)


def _between(previous: int | None, level: int) -> range:
    if previous is None or abs(level - previous) < 2:
        return range(level, level + 1)
    return range(min(previous, level), max(previous, level) + 1)


def tick_step(highest: float) -> float:
    """A round step between the marks of an axis that reaches ``highest``, so that it has three to seven of them.

    >>> tick_step(1240), tick_step(90), tick_step(2200)
    (200.0, 20.0, 500.0)
    """
    steps = (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
    return next((step for step in steps if highest / step <= 7), steps[-1])


def _time_axis(minutes: float, marks: Sequence[tuple[float, str]], width: int) -> str:
    """The marks below their moment, none cut off and none touching another."""
    line = ""
    for minute, text in marks:
        at = min(round((width - 1) * minute / minutes), width - len(text))
        if at >= len(line) + (1 if line else 0):
            line = line.ljust(at) + text
    return line
