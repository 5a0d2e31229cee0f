"""The witness cones of a firing that is fired to a cone: which, where, and what it means how they bent."""

from __future__ import annotations

from dataclasses import dataclass

from api.day import FiringOnDay, Layer
from api.formats import Formats
from scheduler.firing.heat_work import cones_beside
from scheduler.firing.rules_clay import wanted_cone

CONE_MM = 75.0
"""Clear height that a pack of large cones takes with its foot [mm]; from memory: cones of 64 mm, leaning, in a pat of
clay. Where no layer has it, the highest is named."""


@dataclass(frozen=True, slots=True)
class ConePack:
    """What to put in, and the cones to sign for, the softest first."""

    text: str
    cones: tuple[str, ...]


def cone_pack(shown: FiringOnDay, formats: Formats) -> ConePack | None:
    """The pack of a firing whose profile names a cone; None for others.

    The cone wanted stands between the next softer and the next harder one, as is common practice; at the ends of the
    series one of them is missing.
    """
    wanted = wanted_cone(shown.profile)
    if wanted is None:
        return None
    words = formats.words
    softer, harder = cones_beside(wanted)
    named = [
        *([words("sheet.cone_softer", cone=softer)] if softer else []),
        words("sheet.cone_wanted", cone=wanted),
        *([words("sheet.cone_harder", cone=harder)] if harder else []),
    ]
    layer = words("firing.layer", number=_layer_for_cones(shown.layers).number)
    text = words("sheet.cone_pack", layer=layer, cones=", ".join(named))
    return ConePack(text, tuple(cone for cone in (softer, wanted, harder) if cone))


def _layer_for_cones(layers: tuple[Layer, ...]) -> Layer:
    """The layer nearest the middle that is high enough for cones, else the highest one."""
    middle = (len(layers) + 1) / 2
    high = [layer for layer in layers if layer.ware_mm >= CONE_MM]
    if high:
        return min(high, key=lambda layer: (abs(layer.number - middle), layer.number))
    return max(layers, key=lambda layer: (layer.ware_mm, -abs(layer.number - middle)))
