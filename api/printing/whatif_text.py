"""The same loads in several studios, side by side: a table for the terminal."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from api.formats import Formats
from api.printing.columns import heading, paragraph
from scheduler.planning.whatif import Figures, Variant, differ
from shared.clock import Minute

_LABEL = 30
_COLUMN = 22

Row = tuple[str, Callable[[Figures], float], str]


def whatif_text(variants: Sequence[Variant], loads: int, formats: Formats, *, now: Minute, begin: Minute) -> str:
    """The table and what may be read from it; planned as if at ``now``, from ``begin`` on [min]."""
    words = formats.words
    runs = len(variants[0].runs)
    lines = [heading(words("whatif.title", loads=words.count("firing.loads", loads), runs=runs))]
    end = begin + formats.studio.rules.horizon_days * 24 * 60
    days = words("whatif.days", now=formats.clock(now), begin=formats.clock(begin), end=formats.clock(end))
    lines += paragraph(days)
    lines.append(" " * _LABEL + "".join(variant.name[: _COLUMN - 2].rjust(_COLUMN) for variant in variants))
    for label, figure, form in _rows(formats):
        lines.append(label.ljust(_LABEL) + "".join(_cell(v, figure, form).rjust(_COLUMN) for v in variants))
    kilns = dict.fromkeys(kiln for variant in variants for kiln in variant.studio.kiln_by_id)
    for kiln in kilns:
        label = words("whatif.use", kiln=kiln)
        lines.append(label.ljust(_LABEL) + "".join(_use(variant, kiln).rjust(_COLUMN) for variant in variants))
    lines.append("")
    for variant in variants[1:]:
        lines += paragraph(_verdict(variants[0], variant, formats), hanging=2)
    lines += paragraph(words("whatif.uncertain", runs=runs), hanging=2)
    lines += paragraph(words("whatif.mind"), hanging=2)
    return "\n".join(lines) + "\n"


def _rows(formats: Formats) -> list[Row]:
    words, currency = formats.words, formats.studio.place.currency
    return [
        (words("whatif.cost"), lambda run: run.cost, ".2f"),
        (words("whatif.lateness"), lambda run: run.lateness, ".2f"),
        (words("whatif.unplaced"), lambda run: run.unplaced, ".2f"),
        (words("whatif.energy", currency=currency), lambda run: run.energy, ".2f"),
        (words("whatif.firings"), lambda run: run.firings, ".2f"),
        (words("whatif.clean_outs"), lambda run: run.clean_outs, ".2f"),
        (words("whatif.late_loads"), lambda run: float(run.late_loads), ".0f"),
        (words("whatif.late_hours"), lambda run: run.late_hours, ".1f"),
        (words("whatif.unplaced_loads"), lambda run: float(run.unplaced_loads), ".0f"),
        (words("whatif.count"), lambda run: float(run.firing_count), ".0f"),
        (words("whatif.kwh"), lambda run: run.kwh, ".1f"),
        (words("whatif.people"), lambda run: run.people_hours, ".1f"),
    ]


def _cell(variant: Variant, figure: Callable[[Figures], float], form: str) -> str:
    low, high = (format(value, form) for value in variant.spread(figure))
    return low if low == high else f"{low}–{high}"


def _use(variant: Variant, kiln: str) -> str:
    if kiln not in variant.studio.kiln_by_id:
        return "–"
    return _cell(variant, lambda run: run.use[kiln], ".0%")


def _verdict(first: Variant, other: Variant, formats: Formats) -> str:
    words = formats.words
    if not differ(first, other):
        return words("whatif.same", name=other.name)
    least, most = (a - b for a, b in zip(first.spread(_cost), reversed(other.spread(_cost)), strict=True))
    low, high = sorted((abs(least), abs(most)))
    key = "whatif.cheaper" if least > 0 else "whatif.dearer"
    return words(key, name=other.name, low=formats.points(low), high=formats.points(high))


def _cost(run: Figures) -> float:
    return run.cost
