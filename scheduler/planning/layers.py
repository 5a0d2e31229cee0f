"""How loads lie in a kiln: layer by layer, tallest first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from shared.kilns import Kiln
from shared.loads import Load, area_on_last_layer_cm2

_TINY = 1e-6

MOST_SPANNING = 2
"""Loads larger than a shelf that may end on one layer: the layers of one lie below it, those of the other above."""


@dataclass(slots=True)
class Layer:
    """One shelf in use: what lies on it, its tallest piece [mm] and the area taken [cm²]."""

    height_mm: float
    area_cm2: float
    loads: list[str] = field(default_factory=list)
    spanning: list[list[Layer]] = field(default_factory=list)
    """Of each load that ends here, the layers that it fills by itself."""


def pack(kiln: Kiln, loads: Sequence[Load]) -> tuple[tuple[str, ...], ...] | None:
    """Layers that hold ``loads`` in ``kiln``, top of the list first loaded; None where they do not fit.

    First fit by falling height: a load goes on the first layer with room for it, and every layer is as high as the
    load that opened it. A load larger than a shelf fills layers of its own and may share its last one, also with
    another such load.

    Notes
    -----
    First fit by falling height is not exact: it may refuse a charge that fits in another arrangement, never accept
    one that does not (Coffman, Garey, Johnson & Tarjan, SIAM J. Comput. 9 (1980) 808, on level algorithms).
    """
    packed = _levels(kiln, loads)
    if packed is None:
        return None
    return tuple(tuple(layer.loads) for layer in packed)


def _levels(kiln: Kiln, loads: Sequence[Load]) -> list[Layer] | None:
    area_cm2 = kiln.shelf_area_cm2
    layers: list[Layer] = []
    height_left_mm = kiln.height_mm
    for load in sorted(loads, key=lambda load: (-load.height_mm, -load.footprint_cm2, load.id)):
        try:
            alone, rest_cm2 = area_on_last_layer_cm2(load, area_cm2)
        except LookupError:
            return None
        pitch_mm = load.height_mm + kiln.shelf_gap_mm
        height_left_mm -= alone * pitch_mm
        home = next(
            (
                layer
                for layer in layers
                if layer.area_cm2 + rest_cm2 <= area_cm2 + _TINY
                and not (alone and len(layer.spanning) == MOST_SPANNING)
            ),
            None,
        )
        if home is None:
            home = Layer(load.height_mm, 0.0)
            layers.append(home)
            height_left_mm -= pitch_mm
        if height_left_mm < -_TINY:
            return None
        home.loads.append(load.id)
        home.area_cm2 += rest_cm2
        if alone:
            home.spanning.append([Layer(load.height_mm, area_cm2, [load.id]) for _ in range(alone)])
    # The layers that a large load fills by itself lie next to the one that it shares.
    return [each for layer in layers for each in _in_order(layer)]


def _in_order(layer: Layer) -> list[Layer]:
    """A layer between those that loads which end on it fill by themselves."""
    below, above = [*layer.spanning, [], []][:MOST_SPANNING]
    return [*below, layer, *above]


def share_used(kiln: Kiln, loads: Sequence[Load], layers: Sequence[Sequence[str]]) -> float:
    """Part of the kiln in use [-]: its height taken by layers, times the mean part of the shelf in use."""
    heights_mm = {load.id: load.height_mm for load in loads}
    height_mm = sum(max(heights_mm[load_id] for load_id in layer) + kiln.shelf_gap_mm for layer in layers)
    area_cm2 = sum(load.footprint_cm2 for load in loads)
    return height_mm / kiln.height_mm * area_cm2 / (kiln.shelf_area_cm2 * len(layers))
