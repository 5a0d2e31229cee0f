"""What would mend a late load, as something to do: the planner's proved single changes, and a later promise.

A change that would trade away a house rule on quiet times or unattended heating is named and never offered as a button:
whether it may be is for the studio's own rules to say.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import urlencode

from api.words import Words


@dataclass(frozen=True, slots=True)
class Mend:
    """One mend; ``path`` is empty for one that is only named."""

    text: str
    path: str


def mends(
    would_help: tuple[str, ...], load: str, promised: bool, kiln: str | None, circuit: str | None, words: Words
) -> list[Mend]:
    """The mends of one load, the planner's first."""
    found = [_mend(text, circuit, words) for text in would_help]
    if promised:
        found.append(Mend(words("mend.later_promise"), f"/loads/{load}/change"))
    if kiln is None:
        found.append(Mend(words("mend.look_at_load"), f"/loads/{load}"))
    return found


def _mend(text: str, circuit: str | None, words: Words) -> Mend:
    like = re.fullmatch(r"one more kiln like (.+)", text)
    if like:
        return Mend(words("mend.kiln", kiln=like[1]), "/what-if?" + urlencode({"try": "kiln", "kiln": like[1]}))
    if text == "one more pair of hands on each shift":
        return Mend(words("mend.hands"), "/what-if?try=hands")
    if text == "somebody there at other hours":
        return Mend(words("mend.hours"), "/what-if?try=hours")
    if text == "more current on its circuit" and circuit is not None:
        return Mend(words("mend.current"), "/what-if?" + urlencode({"try": "current", "circuit": circuit}))
    if text == "no quiet time, and leave to heat unattended":
        return Mend(words("mend.quiet"), "")
    return Mend(text, "")
