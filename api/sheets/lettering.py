"""Where letters of a drawing begin that end at a place or have it in their middle."""

from __future__ import annotations

_WIDTHS = dict.fromkeys("0123456789", 0.636) | {":": 0.337, " ": 0.318, "°": 0.5, "C": 0.698, "F": 0.575}
"""Widths of the signs of times and temperatures in DejaVu Sans, shares of the letters' size [-]; from the font."""


def begin_of(x: float, size: float, text: object, anchor: str) -> float | None:
    """Where a time or temperature begins that is anchored at ``x``; None for what has other letters too.

    The maker of PDF makes a form of its own of every anchored text, so that one begun where it begins takes less time.

    >>> begin_of(100.0, 10.0, "12:00", "end"), begin_of(100.0, 10.0, "K1", "end"), begin_of(100.0, 10.0, "K1", "start")
    (71.19, None, 100.0)
    """
    if anchor == "start":
        return x
    signs = str(text)
    if not all(sign in _WIDTHS for sign in signs):
        return None
    width = size * sum(_WIDTHS[sign] for sign in signs)
    return round(x - (width / 2 if anchor == "middle" else width), 2)
