"""What a re-plan changes, person by person, and what is asked and assumed: text for the terminal."""

from __future__ import annotations

from itertools import groupby

from api.formats import Formats
from api.printing.columns import heading, paragraph
from api.printing.holds_text import hold_lines
from api.printing.plan_text import clean_outs_cost, proof_text, sentence
from api.words import Words, rule_name
from scheduler.planning.changes import Change
from scheduler.planning.events import Question
from scheduler.planning.replan import Replanned
from shared.clock import Minute
from shared.plans import CostParts
from shared.texts import Text, say

OUTCOMES = {"refire": "replan.refire", "fired": "replan.fired", "lost": "replan.lost"}

MOST_BREAKS = 20
"""How many things that break are spelt out [-]; the rest is counted."""


def replan_text(
    found: Replanned, formats: Formats, *, now: Minute, checked: int, added: frozenset[str] = frozenset()
) -> str:
    """The whole output of ``kilnrota replan``.

    Parameters
    ----------
    found, formats, now
        The new plan, how values are written, and the moment of the events.
    checked
        How many rules the audit has tried [-].
    added
        Ids of the loads that are new.
    """
    words, plan = formats.words, found.plan
    head = words(
        "replan.title",
        studio=plan.studio,
        now=formats.clock(now),
        begin=formats.clock(plan.begin),
        end=formats.clock(plan.end),
    )
    stays = words.count("replan.stays", len(found.under_way), firings=", ".join(sorted(found.under_way)))
    done = _done(found, words)
    blocks = [
        [head, *paragraph(stays if found.under_way else words("replan.stays_none")), *done],
        _changes(found, formats, added),
        hold_lines(plan, formats),
        _questions(found, formats),
        _breaks(found, formats),
        _cost(found, formats, checked),
    ]
    return "\n\n".join("\n".join(lines) for lines in blocks if lines) + "\n"


def change_text(change: Change, formats: Formats, new: bool = False) -> str:
    """One load's change: ``L31, promised Fri 4 Dec 12:00: now Sat 5 Dec 11:00, kiln K2 instead of K3``."""
    words, before, after = formats.words, change.before, change.after
    promised = (
        words("replan.no_promise")
        if change.promised is None
        else words("replan.promised", at=formats.clock(change.promised))
    )
    if after is None:
        was = words("replan.was_nowhere") if before is None else words("replan.was", at=formats.clock(before.out_at))
        now_text = words("replan.now_nowhere", was=was)
    elif before is None:
        key = "replan.now_new" if new else "replan.now_placed"
        now_text = words(key, at=formats.clock(after.out_at), kiln=after.kiln)
    elif before.kiln == after.kiln:
        at, was = formats.clock(after.out_at), formats.clock(before.out_at)
        now_text = words("replan.now_same_kiln", at=at, was=was, kiln=after.kiln)
    elif before.out_at == after.out_at:
        now_text = words("replan.now", at=formats.clock(after.out_at), kiln=after.kiln, was=before.kiln)
    else:
        at, was_at = formats.clock(after.out_at), formats.clock(before.out_at)
        now_text = words("replan.now_other", at=at, kiln=after.kiln, was_at=was_at, was=before.kiln)
    texts = [words("replan.change", load=change.load, promised=promised, now=now_text)]
    if after is not None and change.promised is not None and after.out_at > change.promised:
        texts.append(words("replan.late", by=formats.spelt_duration(after.out_at - change.promised)))
    if change.breaks_promise:
        texts.append(words("replan.breaks_promise"))
    elif change.is_later_still:
        texts.append(words("replan.later_still"))
    return " ".join(texts)


def question_text(question: Question, formats: Formats) -> str:
    """A firing that was interrupted, what is assumed of it, and how to say otherwise."""
    words = formats.words
    other = next(outcome for outcome in ("refire", "lost") if outcome != question.default)
    return words(
        "replan.question",
        firing=question.firing,
        text=sentence(question.text),
        default=words(OUTCOMES[question.default]),
        option=f"--outcome {question.firing}={other}",
    )


def _changes(found: Replanned, formats: Formats, added: frozenset[str]) -> list[str]:
    words = formats.words
    lines = [heading(words("replan.changes_head"))]
    for owner, changes in groupby(found.changes, key=lambda change: change.owner):
        lines.append("  " + (owner or words("replan.no_owner")))
        for change in changes:
            lines += paragraph(change_text(change, formats, change.load in added), indent=4, hanging=2)
    if not found.changes:
        lines.append("  " + words("replan.no_change"))
    if found.lost:
        lines += paragraph(words("replan.lost_loads", loads=", ".join(found.lost)), indent=2, hanging=2)
    for put_off in found.put_off:
        text = words(
            "replan.put_off",
            kiln=put_off.kiln,
            was=formats.clock(put_off.was),
            begins=formats.clock(put_off.begins),
        )
        lines += paragraph(text, indent=2, hanging=2)
    return lines


def _questions(found: Replanned, formats: Formats) -> list[str]:
    if not found.questions:
        return []
    lines = [heading(formats.words("replan.questions_head"))]
    for question in found.questions:
        lines += paragraph(question_text(question, formats), indent=2, hanging=2)
    return lines


def _breaks(found: Replanned, formats: Formats) -> list[str]:
    words = formats.words
    lines = [heading(words("replan.breaks_head"))]
    for text in found.do_nothing[:MOST_BREAKS]:
        lines += paragraph(words.say(rule_named(text)), indent=2, hanging=2)
    more = len(found.do_nothing) - MOST_BREAKS
    if more > 0:
        lines.append("  " + words("replan.more_breaks", n=more))
    if not found.do_nothing:
        lines += paragraph(words("replan.nothing_breaks"), indent=2, hanging=2)
    return lines


def rule_named(text: str) -> str:
    """A breach as the audit tells it, its rule named in words."""
    if isinstance(text, Text) and "rule" in text.values:
        return say(text.key, **{**text.values, "rule": rule_name(str(text.values["rule"]))})
    return text


def _cost(found: Replanned, formats: Formats, checked: int) -> list[str]:
    words, parts = formats.words, found.plan.cost_parts
    lines = [heading(words("replan.cost_head"))]
    before = words("replan.cost_before", total=formats.points(found.cost_before), left=formats.points(found.cost_left))
    lines += paragraph(before, indent=2, hanging=2)
    lines += paragraph(words("replan.cost_after", **cost_values(parts, formats)), indent=2, hanging=2)
    lines += paragraph(proof_text(found.plan.proof, formats), indent=2, hanging=2)
    lines += paragraph(words("replan.audited", rules=checked), indent=2, hanging=2)
    return lines + paragraph(words("standing.not_safe"), indent=2, hanging=2)


def cost_values(parts: CostParts, formats: Formats) -> dict[str, str]:
    """A cost's parts and their total: energy as money, and what is only weighed in points."""
    values = {name: formats.points(getattr(parts, name)) for name in type(parts).model_fields}
    paid = {"energy": formats.money(parts.energy), "total": formats.points(parts.total)}
    return values | paid | {"cleaning": clean_outs_cost(parts, formats)}


def _done(found: Replanned, words: Words) -> list[str]:
    """Firings that are over by the plan, whose loads are taken for fired, and how to say otherwise."""
    if not found.done:
        return []
    return paragraph(words("replan.done", firings=found.done, option=f"--outcome {found.done[0]}=refire"))
