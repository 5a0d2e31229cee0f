"""How sure each promise and each session of a plan is: tables for the terminal."""

from __future__ import annotations

from api.formats import Formats
from api.printing.columns import heading, paragraph
from scheduler.planning.chances import Chances, LoadChance
from shared.loads import Load

SURE = 0.9
"""Chance from which a promise counts as sure, and is counted instead of listed [-]; our own choice."""

_LOAD, _WHEN, _CHANCE = 31, 20, 9
"""Widths of the columns for a load, a time and a chance [characters]."""


def chances_text(found: Chances, owners: dict[str, Load], formats: Formats, everything: bool = False) -> str:
    """The loads with a promise, the least sure first, then the sessions; the sure loads too where ``everything``."""
    words = formats.words
    promised = sorted(
        ((row.kept, row.load, row) for row in found.loads if row.kept is not None and row.promised is not None),
        key=lambda found: found[:2],
    )
    shown = [row for kept, _, row in promised if everything or round(kept, 2) < SURE]
    lines = [heading(words("chances.loads_head"))]
    if shown:
        later = (words("chances.column_half"), words("chances.column_nine"))
        lines.append(
            _line(words("chances.column_load"), words("chances.column_promised"), words("chances.column_kept"), *later)
        )
        lines += [_load_line(row, owners, formats) for row in shown]
    sure = len(promised) - len(shown)
    if sure:
        lines += paragraph(_sure_text(sure, bool(shown), formats), indent=2)
    if not promised:
        lines.append("  " + words("chances.no_promise"))
    lines += ["", heading(words("chances.sessions_head"))]
    for session in sorted(found.sessions, key=lambda session: (session.hot, session.at, session.firing)):
        where = words("chances.session", firing=session.firing, kiln=session.kiln)
        lines.append(_line(where, formats.clock(session.at), percent(session.hot)))
    if not found.sessions:
        lines.append("  " + words("chances.no_session"))
    lines.append("")
    if found.at_the_edge:
        lines += paragraph(words("chances.edge", firings=", ".join(found.at_the_edge)), hanging=2)
    lines += paragraph(words("chances.assumed", samples=found.samples, error=found.error), hanging=2)
    return "\n".join(lines) + "\n"


def percent(chance: float) -> str:
    """A chance in whole percent; what was only played through is never said to be sure.

    >>> percent(0.844), percent(0.0), percent(0.991)
    ('84%', '<1%', '>99%')
    """
    if chance < 0.01:
        return "<1%"
    return ">99%" if chance > 0.99 else f"{chance:.0%}"


def _sure_text(sure: int, others: bool, formats: Formats) -> str:
    """What is said of the promises that are not listed."""
    if others:
        return formats.words.count("chances.sure", sure, least=SURE)
    return formats.words.count("chances.all_sure", sure, least=SURE)


def _load_line(row: LoadChance, owners: dict[str, Load], formats: Formats) -> str:
    owner = owners[row.load].owner if row.load in owners else ""
    promised = "" if row.promised is None else formats.clock(row.promised)
    half, nine = formats.clock(row.middle), formats.clock(row.late)
    return _line(f"{row.load} {owner}".strip(), promised, percent(row.kept or 0.0), half, nine)


def _line(first: str, when: str, chance: str, *times: str) -> str:
    name = first if len(first) < _LOAD else first[: _LOAD - 2].rstrip() + "…"
    later = "".join(time.ljust(_WHEN) for time in times)
    return f"  {name:{_LOAD}}{when:{_WHEN - 2}}{chance:>{_CHANCE}}   {later}".rstrip()
