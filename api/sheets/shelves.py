"""Geometry of the shelf picture: the kiln seen from the side, layer by layer, heights and areas to scale."""

from __future__ import annotations

from dataclasses import dataclass, replace

from api.day import FiringOnDay

WIDTH, HEIGHT = 300.0, 140.0
LEFT, RIGHT, TOP, BOTTOM = 6.0, 176.0, 6.0, 134.0
"""Edges of the drawing and of the kiln within it [SVG user units]; a full shelf is as wide as the kiln."""

FEW_LAYERS = 2
"""Layers up to which the picture is printed smaller."""

_LETTER = 7.6
"""Width of a letter of a load's name [SVG user units]."""

_NAME_HEIGHT = 10.0
"""Least height of a block with a name in it [SVG user units]; names of flatter ones stand beside the layer."""

_LABEL_STEP = 11.5
"""Least distance between the labels beside the layers [SVG user units]."""

_LABEL_LETTERS = 18
"""Letters of a label beside a layer."""


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
    """One layer: its shelf, its middle, the label beside it and where that stands, and what lies on it."""

    y: float
    middle: float
    label_y: float
    label: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Shelves:
    """What the template draws."""

    shelves: tuple[Shelf, ...]
    letters: float
    low: bool


def shelves(shown: FiringOnDay) -> Shelves:
    """The layers from the bottom, their heights in mm as tallest piece and gap.

    Widths are shares of the shelf's area and do not say where a piece stands.
    """
    scale = (BOTTOM - TOP) / shown.kiln.height_mm
    floor = BOTTOM
    drawn = []
    for layer in shown.layers:
        x = LEFT
        blocks: list[Block] = []
        beside: list[str] = []
        for on_layer in layer.on_it:
            width = (RIGHT - LEFT) * min(1.0, on_layer.area_cm2 / layer.shelf_area_cm2)
            height = on_layer.load.height_mm * scale
            name = on_layer.load.id
            if width < _LETTER * len(name) + 2 or height < _NAME_HEIGHT:
                beside.append(name)
                name = ""
            blocks.append(Block(round(x, 1), round(floor - height, 1), round(width, 1), round(height, 1), name))
            x += width
        middle = round(floor - layer.height_mm * scale / 2, 1)
        label = _label(f"{layer.number} · {layer.ware_mm:.0f}+{layer.gap_mm:.0f}", beside)
        drawn.append(Shelf(round(floor, 1), middle, middle, label, tuple(blocks)))
        floor -= layer.height_mm * scale
    step = min(_LABEL_STEP, (BOTTOM - TOP) / max(1, len(drawn)))
    spread = _spread([shelf.middle for shelf in drawn], step)
    return Shelves(
        tuple(replace(shelf, label_y=round(y, 1)) for shelf, y in zip(drawn, spread, strict=True)),
        letters=round(min(10.5, 0.95 * step), 1),
        low=len(drawn) <= FEW_LAYERS,
    )


def _label(text: str, beside: list[str]) -> str:
    """A layer's label with the names that its flat or narrow blocks have no room for; ``+3`` stands for three more."""
    for named in range(len(beside), 0, -1):
        more = f" +{len(beside) - named}" if named < len(beside) else ""
        label = f"{text} · {', '.join(beside[:named])}{more}"
        if len(label) <= _LABEL_LETTERS:
            return label
    return f"{text} · +{len(beside)}" if beside else text


def _spread(middles: list[float], step: float) -> list[float]:
    """Where labels stand that would be beside ``middles``, from the bottom up, so that none covers another."""
    placed: list[float] = []
    for middle in middles:
        placed.append(min(middle, placed[-1] - step) if placed else min(middle, BOTTOM - step / 2))
    # What was pushed out at the top pushes the others down again.
    limit = TOP + step / 2
    for number in reversed(range(len(placed))):
        placed[number] = max(placed[number], limit)
        limit = placed[number] + step
    return placed
