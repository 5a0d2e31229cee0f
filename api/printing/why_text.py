"""Why a load is late or has no place, and what would mend it: text for the terminal."""

from __future__ import annotations

from collections.abc import Sequence

from api.formats import Formats
from api.printing.columns import paragraph
from api.printing.plan_text import sentence
from api.words import Words, rule_name
from scheduler.planning.mending import Change
from scheduler.planning.why import Explanation, Mend
from shared.clock import Minute
from shared.loads import Load

RULES = {
    "hands": "reason.rule_hands",
    "skills": "reason.rule_skills",
    "circuit_amps": "reason.rule_circuit",
    "attendance": "reason.rule_attendance",
    "quiet": "reason.rule_quiet",
    "outages": "reason.rule_outages",
    "shares_firing": "reason.rule_shares",
    "work_fits_kiln": "reason.rule_work",
    "ready": "reason.rule_ready",
    "after_gap": "reason.rule_after",
    "kiln_one_at_a_time": "reason.rule_taken",
    "computed_times": "reason.rule_computed",
    "within_plan": "reason.rule_horizon",
    "costs": "reason.rule_costs",
    "time": "reason.rule_several",
}
"""What each rule that may bind is in words; for others the reason's own words do."""

CHANGES = {
    "hands": "reason.change_hands",
    "skill": "reason.change_skill",
    "circuit": "reason.change_circuit",
    "night_start": "reason.change_night",
    "heats_alone": "reason.change_alone",
    "end_alone": "reason.change_end",
    "quiet": "reason.change_quiet",
    "outage": "reason.change_outage",
    "leave_out": "reason.change_leave",
    "other_kiln": "reason.change_other",
    "kiln_work": "reason.change_work",
    "ready": "reason.change_ready",
    "priority": "reason.change_priority",
    "new_kiln": "reason.change_new",
    "promise": "reason.change_promise",
}

MIND = {
    "circuit": "reason.mind_circuit",
    "night_start": "reason.mind_alone",
    "heats_alone": "reason.mind_alone",
    "end_alone": "reason.mind_alone",
    "quiet": "reason.mind_quiet",
    "kiln_work": "reason.mind_kiln",
    "other_kiln": "reason.mind_kiln",
    "new_kiln": "reason.mind_circuit",
}
"""What stands beside a change that must not be made by a planner's word alone."""


def why_text(found: Explanation, load: Load, formats: Formats) -> str:
    """The whole output of ``kilnrota why``."""
    words = formats.words
    name = f"{load.id} {load.owner}".strip()
    promised = words("reason.no_promise") if load.promised is None else formats.clock(load.promised)
    if found.out_at is None:
        head = words("reason.unplaced", load=name, promised=promised)
    else:
        late = formats.spelt_duration(float(found.out_at - (load.promised or found.out_at)))
        head = words("reason.late", load=name, promised=promised, out=formats.clock(found.out_at), late=late)
    why = found.why or words(RULES[found.rule])
    lines = [
        *paragraph(head),
        *paragraph(words("reason.binds", rule=rule_name(found.rule), why=sentence(why)), indent=2),
    ]
    if len(found.binding) > 1:
        rules = formats.join([words.say(rule_name(rule)) for rule in found.binding[1:]])
        lines += paragraph(words("reason.also", rules=rules), indent=2)
    if found.mends:
        lines += ["", words("reason.mends_head")]
    for mend in found.mends:
        lines += paragraph(mend_text(mend, formats), indent=2, hanging=2)
    if not found.mends and found.tried:
        lines += paragraph(words.count("reason.none", found.tried), indent=2)
    minds = dict.fromkeys(MIND[mend.change.kind] for mend in found.mends if mend.change.kind in MIND)
    for key in minds:
        lines += paragraph(words("reason.mind", text=words(key)), indent=2, hanging=2)
    return "\n".join(lines) + "\n"


def mend_text(mend: Mend, formats: Formats) -> str:
    """One change and what follows from it."""
    words = formats.words
    moved, out = moved_words(mend.moved, words), formats.clock(mend.out_at)
    return words("reason.mend", change=change_text(mend.change, formats), out=out, moved=moved)


def moved_words(loads: Sequence[str], words: Words) -> str:
    """Which other loads a change moves."""
    return words.count("reason.moved", len(loads), loads=", ".join(loads)) if loads else words("reason.none_moved")


def change_text(change: Change, formats: Formats) -> str:
    """A change in words."""
    return change_words(change.kind, change.who, change.begins, change.ends, change.amount, formats)


def change_words(
    kind: str, who: str, begins: Minute | None, ends: Minute | None, amount: float | None, formats: Formats
) -> str:
    """A change in words, by its parts."""
    words = formats.words
    key = "reason.change_more_hands" if kind == "hands" and amount is not None else CHANGES[kind]
    when = ""
    if begins is not None:
        when = formats.clock(begins) if ends is None else formats.stretch(begins, ends)
    return words(key, who=who, when=when, amount="" if amount is None else f"{amount:g}")
