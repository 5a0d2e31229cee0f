"""How sure each promise and each session of a plan is: text for the terminal."""

from __future__ import annotations

from api.formats import Formats
from api.printing.columns import heading, paragraph
from scheduler.planning.chances import Chances
from shared.loads import Load


def chances_text(found: Chances, owners: dict[str, Load], formats: Formats) -> str:
    """The loads with a promise, the least sure first, then the sessions."""
    words = formats.words
    lines = [heading(words("chances.loads_head"))]
    rows = sorted((row for row in found.loads if row.kept is not None), key=lambda row: (row.kept, row.load))
    for row in rows:
        if row.promised is None or row.kept is None:
            continue
        owner = owners[row.load].owner if row.load in owners else ""
        text = words(
            "chances.load",
            load=f"{row.load} {owner}".strip(),
            kept=row.kept,
            promised=formats.clock(row.promised),
            middle=formats.clock(row.middle),
            late=formats.clock(row.late),
        )
        lines += paragraph(text, indent=2, hanging=2)
    if not rows:
        lines.append("  " + words("chances.no_promise"))
    lines += ["", heading(words("chances.sessions_head"))]
    for session in found.sessions:
        text = words(
            "chances.session",
            firing=session.firing,
            kiln=session.kiln,
            at=formats.clock(session.at),
            hot=session.hot,
        )
        lines += paragraph(text, indent=2, hanging=2)
    if not found.sessions:
        lines.append("  " + words("chances.no_session"))
    lines.append("")
    if found.at_the_edge:
        lines += paragraph(words("chances.edge", firings=", ".join(found.at_the_edge)), hanging=2)
    lines += paragraph(words("chances.assumed", samples=found.samples, error=found.error), hanging=2)
    return "\n".join(lines) + "\n"
