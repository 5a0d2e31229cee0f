"""How loads lie in a kiln: layer by layer, tallest first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from shared.kilns import Kiln
from shared.loads import Load, area_on_last_layer_cm2

_TINY = 1e-6

MOST_SPANNING = 2
"""Loads larger than a shelf that may end on one layer: the layers of one lie below it, those of the other above."""

Layers = tuple[tuple[str, ...], ...]
"""Ids of the loads on each layer, top of the list first loaded."""


def pack(kiln: Kiln, loads: Sequence[Load]) -> Layers | None:
    """Layers that hold ``loads`` in ``kiln``; None where they do not fit. See `Packing`."""
    return Packing((kiln,), loads).layers(0, range(len(loads)))


class _Lying(NamedTuple):
    """How a load lies on shelves of one size.

    ``whole`` are the layers that it fills by itself [-], or -1 where one of its pieces is larger than the shelf, and
    ``whole_mm`` is their height; ``pitch_mm`` is what a layer takes that it opens, ``rest_cm2`` what it takes of one
    that it may share.
    """

    id: str
    whole: int
    whole_mm: float
    pitch_mm: float
    rest_cm2: float


class _Shelves(NamedTuple):
    """Shelves of one size: how each load lies on them, tallest first and once asked for; the area to fill [cm²]."""

    lying: list[_Lying | None]
    most_cm2: float


class Packing:
    """Packs any of some loads into any of some kilns; both go by their numbers.

    First fit by falling height: a load goes on the first layer with room for it, and every layer is as high as the
    load that opened it. A load larger than a shelf fills layers of its own and may share its last one, also with
    another such load.

    What a load takes is worked out once, since the search packs some thousand times a second. With a dozen loads or
    fewer, as they are, plain lists take less time than a call of compiled code.

    Notes
    -----
    First fit by falling height is not exact: it may refuse a charge that fits in another arrangement, never accept
    one that does not (Coffman, Garey, Johnson & Tarjan, SIAM J. Comput. 9 (1980) 808, on level algorithms).
    """

    def __init__(self, kilns: Sequence[Kiln], loads: Sequence[Load]) -> None:
        every = range(len(loads))
        order = sorted(every, key=lambda n: (-loads[n].height_mm, -loads[n].footprint_cm2, loads[n].id))
        self._ranked = [loads[number] for number in order]
        self._ranks = [0] * len(order)
        for rank, number in enumerate(order):
            self._ranks[number] = rank
        self._kilns = [(kiln.height_mm, kiln.shelf_area_cm2, kiln.shelf_gap_mm) for kiln in kilns]
        shelves = {kiln[1:]: _Shelves([None] * len(order), kiln[1] + _TINY) for kiln in self._kilns}
        self._shelves = [shelves[kiln[1:]] for kiln in self._kilns]

    def layers(self, kiln: int, loads: Sequence[int]) -> Layers | None:
        """Layers that hold the loads in the kiln; None where they do not fit."""
        height_left_mm, area_cm2, gap_mm = self._kilns[kiln]
        lying, most_cm2 = self._shelves[kiln]
        ranks = [self._ranks[load] for load in loads]
        ranks.sort()
        taken_cm2: list[float] = []
        names: list[list[str]] = []
        spanning: dict[int, list[Layers]] = {}
        for rank in ranks:
            lies = lying[rank]
            if lies is None:
                lies = lying[rank] = _lying(self._ranked[rank], area_cm2, gap_mm)
            load_id, whole, whole_mm, pitch_mm, rest_cm2 = lies
            if whole:
                if whole < 0:
                    return None
                height_left_mm -= whole_mm
            home = 0
            for cm2 in taken_cm2:
                if cm2 + rest_cm2 <= most_cm2 and not (whole and len(spanning.get(home, ())) == MOST_SPANNING):
                    break
                home += 1
            else:
                taken_cm2.append(0.0)
                names.append([])
                height_left_mm -= pitch_mm
            if height_left_mm < -_TINY:
                return None
            taken_cm2[home] += rest_cm2
            names[home].append(load_id)
            if whole:
                spanning.setdefault(home, []).append(((load_id,),) * whole)
        layers = tuple([tuple(layer) for layer in names])
        return _with_whole(layers, spanning) if spanning else layers


def _lying(load: Load, shelf_area_cm2: float, shelf_gap_mm: float) -> _Lying:
    try:
        whole, rest_cm2 = area_on_last_layer_cm2(load, shelf_area_cm2)
    except LookupError:
        return _Lying(load.id, -1, 0.0, 0.0, 0.0)
    pitch_mm = load.height_mm + shelf_gap_mm
    return _Lying(load.id, whole, whole * pitch_mm, pitch_mm, rest_cm2)


def _with_whole(shared: Layers, spanning: Mapping[int, Sequence[Layers]]) -> Layers:
    """Each shared layer next to those that the loads which end on it fill by themselves: below it, and above."""
    layers: list[tuple[str, ...]] = []
    for number, layer in enumerate(shared):
        below, above = [*spanning.get(number, ()), (), ()][:MOST_SPANNING]
        layers += [*below, layer, *above]
    return tuple(layers)


def share_used(kiln: Kiln, loads: Sequence[Load], layers: Sequence[Sequence[str]]) -> float:
    """Part of the kiln in use [-]: its height taken by layers, times the mean part of the shelf in use."""
    heights_mm = {load.id: load.height_mm for load in loads}
    height_mm = sum(max(heights_mm[load_id] for load_id in layer) + kiln.shelf_gap_mm for layer in layers)
    area_cm2 = sum(load.footprint_cm2 for load in loads)
    return height_mm / kiln.height_mm * area_cm2 / (kiln.shelf_area_cm2 * len(layers))
