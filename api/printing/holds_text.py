"""What became of firings that were fixed and could not stay as they were."""

from __future__ import annotations

from api.formats import Formats
from api.printing.columns import heading, paragraph
from api.printing.plan_text import sentence
from shared.plans import HoldNote, Plan


def hold_text(note: HoldNote, formats: Formats) -> str:
    """One firing: where it was, whether it stays, and why it could not stay as it was."""
    key = "hold.kept" if note.kept else "hold.gone"
    start, loads = formats.clock(note.start_at), ", ".join(note.loads)
    return formats.words(key, firing=note.firing, kiln=note.kiln, start=start, loads=loads, why=sentence(note.why))


def hold_lines(plan: Plan, formats: Formats) -> list[str]:
    """All of them under a heading; nothing where every fixed firing stayed."""
    if not plan.hold_notes:
        return []
    lines = [heading(formats.words("hold.notes_head"))]
    for note in plan.hold_notes:
        lines += paragraph(hold_text(note, formats), indent=2, hanging=2)
    return lines
