"""Geometry of the shelf picture: the kiln seen from the side, layer by layer, heights and areas to scale."""

from __future__ import annotations

from dataclasses import dataclass

from api.day import FiringOnDay

WIDTH, HEIGHT = 300.0, 190.0
LEFT, RIGHT, TOP, BOTTOM = 6.0, 236.0, 6.0, 184.0
"""Edges of the drawing and of the kiln within it [SVG user units]; a full shelf is as wide as the kiln."""

_LETTER = 5.6
"""Width of a letter of a load's name [SVG user units]."""


@dataclass(frozen=True, slots=True)
class Block:
    """A load on a layer; ``name`` is empty where there is no room to write it."""

    x: float
    y: float
    width: float
    height: float
    name: str


@dataclass(frozen=True, slots=True)
class Shelf:
    """One layer: its shelf, what stands on it, its height for the posts, and how much of it is in use."""

    y: float
    number: int
    middle: float
    height_text: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Shelves:
    """What the template draws."""

    shelves: tuple[Shelf, ...]


def shelves(shown: FiringOnDay) -> Shelves:
    """The layers from the bottom. Widths are shares of the shelf's area and do not say where a piece stands."""
    scale = (BOTTOM - TOP) / shown.kiln.height_mm
    floor = BOTTOM
    drawn = []
    for layer in shown.layers:
        x = LEFT
        blocks = []
        for on_layer in layer.on_it:
            width = (RIGHT - LEFT) * min(1.0, on_layer.area_cm2 / layer.shelf_area_cm2)
            height = on_layer.load.height_mm * scale
            name = on_layer.load.id if width >= _LETTER * len(on_layer.load.id) + 2 else ""
            blocks.append(Block(round(x, 1), round(floor - height, 1), round(width, 1), round(height, 1), name))
            x += width
        middle = round(floor - layer.height_mm * scale / 2, 1)
        drawn.append(Shelf(round(floor, 1), layer.number, middle, f"{layer.height_mm:.0f} mm", tuple(blocks)))
        floor -= layer.height_mm * scale
    return Shelves(tuple(drawn))
