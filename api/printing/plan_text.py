"""A day of a plan as text for the terminal: kiln by kiln, then what is late, then circuits, cost and proof."""

from __future__ import annotations

from api.cautions import Caution, cautions
from api.day import CircuitLoad, Day, FiringOnDay, KilnDay
from api.formats import Formats
from api.lateness import late_rows, why_text
from api.outages import inside_as_it_broke, out_text, outage_reason
from api.people import duty_text
from api.printing.columns import KEEP, heading, paragraph, row
from api.printing.firing_text import key_lines, mind_lines, put_lines, summary_text, takes_text, time_lines
from api.words import rule_name
from shared.plans import CostParts, Proof, Unplaced
from shared.texts import Text, say


def plan_text(day: Day, formats: Formats, only: str | None = None) -> str:
    """The whole output of ``kilnrota plan``; with ``only`` the part that is about one kiln."""
    met: dict[str, Caution] = {}
    if only is not None:
        blocks = [_head(day, formats)]
        blocks += [_kiln_block(day, shown, formats, met) for shown in day.kilns if shown.kiln.id == only]
        return _joined([*blocks, _cautions_block(met, formats), _tied_block(day, formats, only)])
    blocks = [_head(day, formats)]
    blocks += [_kiln_block(day, kiln_day, formats, met) for kiln_day in day.kilns]
    blocks += [_cautions_block(met, formats), _late_block(day, formats)]
    blocks += [_circuits_block(day, formats), _cost_block(day, formats)]
    return _joined(blocks)


def _joined(blocks: list[list[str]]) -> str:
    return "\n\n".join("\n".join(lines) for lines in blocks if lines) + "\n"


def proof_text(proof: Proof, formats: Formats) -> str:
    """How far the plan is from proved, in words."""
    if proof.status == "optimal":
        return formats.words("plan.proved")
    if proof.bound <= 0:
        return formats.words("plan.no_bound")
    percent = max(0.0, (proof.cost / proof.bound - 1.0) * 100.0)
    return formats.words("plan.within", percent=percent, bound=formats.points(proof.bound))


def _head(day: Day, formats: Formats) -> list[str]:
    words, plan = formats.words, day.plan
    planned = words(
        "plan.planned",
        made=formats.clock(plan.made_at),
        begin=formats.clock(plan.begin),
        end=formats.clock(plan.end),
        firings=words.count("firing.firings", len(plan.firings)),
        placed=sum(len(firing.loads) for firing in plan.firings),
        loads=len(day.audited.loads),
    )
    duties = words("plan.duty", duties="; ".join(duty_text(day.duties, formats, day.date)))
    title = words("plan.title", day=formats.long_day(day.date), studio=plan.studio)
    return [title, *paragraph(planned), *paragraph(duties)]


def _kiln_block(day: Day, kiln_day: KilnDay, formats: Formats, met: dict[str, Caution]) -> list[str]:
    words, kiln = formats.words, kiln_day.kiln
    unit = formats.studio.controller_unit(kiln)
    lines = [heading(words("plan.kiln_head", kiln=kiln.title, circuit=kiln.circuit, unit=unit))]
    lines += [f"  {text}" for text in outage_texts(day, kiln_day, formats)]
    for shown in kiln_day.firings:
        lines += _firing_lines(day, shown, formats, met)
    if not kiln_day.firings:
        lines.append("  " + words("plan.nothing"))
    lines.append("  " + next_text(day, kiln_day, formats))
    return lines


def next_text(day: Day, kiln_day: KilnDay, formats: Formats) -> str:
    """When the kiln is loaded again after the day, and after which of the day's firings that is."""
    if kiln_day.next_load_at is None:
        return formats.words("plan.no_next")
    at = formats.clock(kiln_day.next_load_at, day.date)
    if kiln_day.firings:
        return formats.words("plan.next_after", firing=kiln_day.firings[-1].firing.id, at=at)
    return formats.words("plan.next", at=at)


def outage_texts(day: Day, kiln_day: KilnDay, formats: Formats) -> list[str]:
    """Why the kiln cannot be used on the day, one text an outage."""
    words = formats.words
    texts = []
    for outage in kiln_day.outages:
        why = outage_reason(outage.reason, words)
        reason = words("plan.reason", reason=why) if why else ""
        if inside_as_it_broke(outage, day.plan.firings):
            # It broke with a firing in it: for the plan it is out of use once that is out, for people at once.
            texts.append(out_text(outage, formats))
        elif outage.ends is None:
            texts.append(words("plan.out_from", begin=formats.clock(outage.begins, day.date), reason=reason))
        else:
            stretch = formats.stretch(outage.begins, outage.ends, day.date)
            texts.append(words("plan.out_of_order", stretch=stretch, reason=reason))
    return texts


def _firing_lines(day: Day, shown: FiringOnDay, formats: Formats, met: dict[str, Caution]) -> list[str]:
    words, firing = formats.words, shown.firing
    heats = firing.hot_until > day.begin
    summary = summary_text(shown, formats)
    lines = ["  " + words("plan.firing_head", firing=firing.id, profile=shown.profile.title, summary=summary)]
    lines += time_lines(shown, formats, day.date, heats)
    if firing.load_at >= day.begin:
        lines += put_lines(shown, formats)
    else:
        lines += row(
            words("plan.label_inside"), "", ", ".join(f"{load.id} {load.owner}".strip() for load in shown.loads)
        )
    if heats:
        lines += key_lines(shown, formats, day.date)
        found = cautions(shown, formats, day.date)
        met.update({caution.key: caution for caution in found if not caution.this_firing})
        lines += row(words("plan.label_takes"), "", takes_text(shown, formats, day.date))
        lines += mind_lines(found, formats)
    return lines


def _cautions_block(met: dict[str, Caution], formats: Formats) -> list[str]:
    lines = [heading(formats.words("plan.cautions_head"))]
    for caution in met.values():
        text = caution.text if caution.text == caution.name else f"{caution.name}: {caution.text}"
        lines += paragraph(text, indent=2, hanging=2)
    lines += paragraph(formats.words("plan.likely"), indent=2, hanging=2)
    lines += paragraph(formats.words("standing.not_safe"), indent=2, hanging=2)
    return lines + paragraph(formats.words("standing.electrical"), indent=2, hanging=2)


def _late_block(day: Day, formats: Formats) -> list[str]:
    lines = [heading(formats.words("plan.late_head"))]
    for text in late_texts(day, formats):
        lines += paragraph(text, indent=2, hanging=2)
    return lines


def _tied_block(day: Day, formats: Formats, kiln: str) -> list[str]:
    """Loads that may go into one kiln and have no place, and why: without it the kiln would merely look empty."""
    tied = [unplaced for unplaced in day.unplaced if kiln in day.load(unplaced.load).kilns]
    lines = [heading(formats.words("plan.late_head"))] if tied else []
    for unplaced in tied:
        lines += paragraph(_unplaced_text(unplaced, day, formats), indent=2, hanging=2)
    return lines


def _unplaced_text(unplaced: Unplaced, day: Day, formats: Formats) -> str:
    words = formats.words
    load = f"{unplaced.load} {day.load(unplaced.load).owner}".strip()
    text = words("plan.unplaced_row", load=load, rule=rule_name(unplaced.rule), why=why_text(unplaced.why, words))
    if not unplaced.would_help:
        return text
    return f"{text} {words('plan.would_help', helps='; '.join(words.say(change) for change in unplaced.would_help))}"


def late_texts(day: Day, formats: Formats) -> list[str]:
    """Every load of the plan that is late or has no place, and why; and where there is none of a kind, that."""
    words = formats.words
    texts = [
        words(
            "plan.late_row",
            load=f"{late_row.late.load} {late_row.owner}".strip(),
            promised=formats.clock(late_row.late.promised),
            out=formats.clock(late_row.late.out_at),
            late=formats.spelt_duration(late_row.late.hours * 60),
            why=late_row.why,
        )
        for late_row in late_rows(day, formats)
    ]
    if not texts:
        texts.append(words("plan.none_late"))
    texts = [text.rstrip() for text in texts]
    texts += [_unplaced_text(unplaced, day, formats) for unplaced in day.unplaced]
    if not day.unplaced:
        texts.append(words("plan.all_placed", n=len(day.audited.loads)))
    return texts


def sentence(text: str) -> Text:
    """A text with a stop at its end."""
    return say("text.sentence", text=text if isinstance(text, Text) else Text(text))


def _circuits_block(day: Day, formats: Formats) -> list[str]:
    words = formats.words
    lines = [heading(words("plan.circuits_head"))]
    for on_day, in_plan in zip(day.circuits, day.circuits_in_plan, strict=True):
        circuit = on_day.circuit
        lines += paragraph(
            words("plan.circuit_row", circuit=circuit.id, limit=circuit.usable_amps), indent=2, hanging=2
        )
        lines += row("", words("plan.circuits_day"), circuit_text(on_day, day, formats))
        lines += row("", words("plan.circuits_plan"), circuit_text(in_plan, day, formats, dated=True))
    return lines


def circuit_text(load: CircuitLoad, day: Day, formats: Formats, dated: bool = False) -> str:
    """The highest current of each leg, with the moment at which it is first met; its day too where ``dated``."""
    words, shown_day = formats.words, None if dated else day.date
    texts = [
        words("plan.circuit_idle", leg=leg.leg)
        if leg.at is None
        else words("plan.circuit_leg", leg=leg.leg, amps=leg.amps, at=formats.clock(leg.at, shown_day))
        for leg in load.legs
    ]
    return "   ".join(text.replace(" ", KEEP) for text in texts)


def _cost_block(day: Day, formats: Formats) -> list[str]:
    words, parts = formats.words, day.plan.cost_parts
    changes = words("plan.cost_changes", changes=formats.points(parts.changes)) if parts.changes else ""
    cost = words(
        "plan.cost_row",
        total=formats.points(parts.total),
        lateness=formats.points(parts.lateness),
        unplaced=formats.points(parts.unplaced),
        energy=formats.money(parts.energy),
        firings=formats.points(parts.firings),
        clean_outs=clean_outs_cost(parts, formats),
        changes=changes,
    )
    lines = [heading(words("plan.cost_head")), *paragraph(cost, indent=2, hanging=2)]
    lines += paragraph(proof_text(day.plan.proof, formats), indent=2, hanging=2)
    return lines + paragraph(words("plan.audited"), indent=2, hanging=2)


def clean_outs_cost(parts: CostParts, formats: Formats) -> str:
    """What clean-outs cost, as a part of a sentence; nothing where there are none."""
    if not parts.clean_outs:
        return ""
    return formats.words("plan.cost_clean_outs", clean_outs=formats.points(parts.clean_outs))
