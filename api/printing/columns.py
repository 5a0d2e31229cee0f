"""Lines of text in three columns, as the terminal shows them: what, when, remark."""

from __future__ import annotations

from textwrap import wrap

WIDTH = 100
"""Width of the printed text [characters]."""

KEEP = "\N{NO-BREAK SPACE}"
"""Stands for a space at which a line is not broken; an ordinary space is printed."""

_LABEL = 9
_WHEN = 22
_INDENT = 4


def row(label: str, when: str, remark: str) -> list[str]:
    """One entry: label and time, and a remark that goes on below itself where it is long."""
    left = " " * _INDENT + f"{label} ".ljust(_LABEL)
    if when:
        left += when.ljust(_WHEN) + " "
    lines = wrap(remark, WIDTH - len(left), break_long_words=False) or [""]
    return [(left + lines[0]).rstrip().replace(KEEP, " ")] + [
        " " * len(left) + line.replace(KEEP, " ") for line in lines[1:]
    ]


def paragraph(text: str, indent: int = 0, hanging: int = 0) -> list[str]:
    """Running text, broken at the width."""
    return wrap(text, WIDTH, initial_indent=" " * indent, subsequent_indent=" " * (indent + hanging))


def heading(text: str) -> str:
    """A heading with a rule to the right edge."""
    return f"{text} ".ljust(WIDTH, "─")
