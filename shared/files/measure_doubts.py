"""Measures that were probably written in another unit than millimetres. Nothing here stops a plan."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from statistics import median

from shared.kilns import Kiln
from shared.loads import Load
from shared.texts import say

LEAST_INSIDE_MM, MOST_INSIDE_MM = 100.0, 3000.0
"""Between what the inside of a studio's electric kiln measures [mm]; own choice: test kilns and enamelling muffles are
some 100 to 200 mm, and no kiln that people load by hand is longer than 3 m."""

FLAT_MM = 20.0
"""Work lower than this is flat: tiles, fused glass, jewellery [mm]; own choice."""

FLAT_SHARE = 0.25
"""A piece whose thickest place is this share of its height or more is flat for certain [-]; own choice: a pot's
wall is a tenth of its height or less."""

TENTH = 8.0
"""A load this many times lower than its profile's usual ones is asked about [-]; own choice: a unit makes ten."""

DENSE_KG_PER_L = 1.0
"""Loads usually heavier than this for their room are no pots, which make 0.1 to 0.4, or are written ten times too low
[kg/l]; own choice."""

FEWEST = 3
"""Loads of a profile from which something is usual, this one aside [-]; own choice."""

Words = tuple[str, str, str]
"""Place or column, problem and remedy."""


def about_an_inside(kiln: Kiln) -> Iterator[Words]:
    """Whether the inside was written in centimetres, or with a nought too many."""
    sides = kiln.inside_mm
    if max(sides) < LEAST_INSIDE_MM:
        meant = ", ".join(f"{side * 10:.15g}" for side in sides)
        yield (
            " › inside_mm",
            say("fault.inside_small", sides=_sides(sides), least=LEAST_INSIDE_MM),
            say("fault.write_millimetres", meant=f"[{meant}]"),
        )
    elif max(sides) > MOST_INSIDE_MM:
        yield (
            " › inside_mm",
            say("fault.inside_large", sides=_sides(sides), most=MOST_INSIDE_MM),
            say("fault.check_inside"),
        )


def about_a_height(load: Load, loads: Sequence[Load]) -> Iterator[Words]:
    """Whether a load's height was written in centimetres: it is less than its wall, or far below what is usual."""
    usual = [other.height_mm for other in loads if other.profile == load.profile and other.id != load.id]
    if load.thickness_mm is not None and load.thickness_mm > load.height_mm:
        problem = say("fault.thicker_than_high", thickness=load.thickness_mm, height=load.height_mm)
    elif _may_be_centimetres(load) and len(usual) >= FEWEST and load.height_mm * TENTH <= median(usual):
        problem = say("fault.lower_than_usual", height=load.height_mm, usual=median(usual))
    else:
        return
    yield "height_mm", problem, say("fault.height_in_millimetres", meant=load.height_mm * 10.0)


def about_heights(loads: Sequence[Load]) -> Iterator[Words]:
    """Whether the whole column was written in centimetres: nothing is higher than what flat work is."""
    highest = max((load.height_mm for load in loads), default=0.0)
    if len(loads) < FEWEST or highest >= 2 * FLAT_MM or any(_is_flat(load) for load in loads):
        return
    if median(load.mass_kg * 10_000.0 / (load.footprint_cm2 * load.height_mm) for load in loads) >= DENSE_KG_PER_L:
        yield "height_mm", say("fault.all_flat", highest=highest), say("fault.heights_in_millimetres")


def _may_be_centimetres(load: Load) -> bool:
    return load.height_mm < FLAT_MM and not _is_flat(load)


def _is_flat(load: Load) -> bool:
    return load.thickness_mm is not None and load.thickness_mm >= FLAT_SHARE * load.height_mm


def _sides(sides: Sequence[float]) -> str:
    return " × ".join(f"{side:.15g}" for side in sides)
