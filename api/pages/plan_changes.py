"""What a plan changes, by person: each load's place before and after."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from api.formats import Formats
from api.moves import Hearing
from scheduler.audit import AuditedPlan
from scheduler.planning.changes import Whereabouts, changes_between
from shared.clock import Minute, iso_minute

SHOWN_OWNERS = 12
"""How many owners one sentence names [-]; the rest is counted, and stands in the list."""

LATE_HEAD = "#late-head"
"""Where the plan's page lists what is late or has no place."""


@dataclass(frozen=True, slots=True)
class ChangeLine:
    """One load: where and when it was to be, and is now; ``mark`` says in a word what that means."""

    load: str
    before: str
    after: str
    mark: str
    bad: bool
    firing: str
    firing_before: str


@dataclass(frozen=True, slots=True)
class PersonChanges:
    """One person's loads that change."""

    person: str
    changes: tuple[ChangeLine, ...]


def changes_by_person(
    audited: AuditedPlan, notes: Mapping[str, Any], against: AuditedPlan | None, formats: Formats
) -> tuple[PersonChanges, ...]:
    """The changes, by person: as the re-plan has noted them, else against the plan that holds."""
    lines: dict[str, list[ChangeLine]] = {}
    starts = {firing.id: firing.start_at for firing in audited.plan.firings}
    if "changes" in notes:
        for item in notes["changes"]:
            promised = item.get("promised")
            line = _line(
                item["load"],
                _noted(item["before"]),
                _noted(item["after"]),
                None if promised is None else iso_minute(promised),
                formats,
            )
            if "missed" in item:
                line = _missed(line, item["missed"], starts.get(line.firing), formats)
            lines.setdefault(item["owner"], []).append(line)
    elif against is not None:
        zone = audited.studio.place.zone
        for one in changes_between(audited.loads.values(), against.plan, audited.plan, zone):
            line = _line(one.load, one.before, one.after, one.promised, formats)
            lines.setdefault(one.owner, []).append(line)
    return tuple(
        PersonChanges(person or formats.words("plans.nobody"), tuple(found)) for person, found in sorted(lines.items())
    )


@dataclass(frozen=True, slots=True)
class Telling:
    """Who hears of a plan: a sentence on those that get a notice, and one on those whom the staff tells.

    ``owners`` are the names of the latter, each with its loads and the anchor of its lines; ``more`` counts the rest,
    who stand at ``rest``.
    """

    notices: str
    staff: str
    owners: tuple[tuple[str, str, str], ...]
    more: str
    rest: str


def telling(heard: Hearing, people: Sequence[PersonChanges], formats: Formats) -> Telling:
    """Who is told of what changes, and by whom."""
    words = formats.words
    if not heard.by_notice and not heard.by_staff:
        return Telling(words("plans.told_nobody"), "", (), "", "#who-head")
    anchors = {item.load: f"#who-{number}" for number, person in enumerate(people, 1) for item in person.changes}
    owners = tuple(
        (owner or words("plans.nobody"), ", ".join(loads), anchors.get(loads[0], "#who-head"))
        for owner, loads in heard.by_staff.items()
    )
    more = len(owners) - SHOWN_OWNERS
    return Telling(
        notices=words.count("plans.told_notice", len(heard.by_notice), names=formats.join(heard.by_notice))
        if heard.by_notice
        else words("plans.told_no_notice"),
        staff=words.count("plans.told_staff", len(owners)) if owners else "",
        owners=owners[:SHOWN_OWNERS],
        more=words("happened.more", n=more) if more > 0 else "",
        rest="#who-head",
    )


def first_telling(audited: AuditedPlan, formats: Formats) -> Telling:
    """Who is to be told of a first plan: nothing moves by it, but loads are late by it, or have no place."""
    words, plan = formats.words, audited.plan
    by_owner: dict[str, tuple[str, ...]] = {}
    for load in sorted(
        (audited.loads[load] for load in (*(o.load for o in plan.unplaced), *(o.load for o in plan.late))),
        key=lambda load: (load.owner, load.id),
    ):
        by_owner[load.owner] = (*by_owner.get(load.owner, ()), load.id)
    if not by_owner:
        return Telling(words("plans.told_nobody"), "", (), "", LATE_HEAD)
    owners = tuple((owner or words("plans.nobody"), ", ".join(found), LATE_HEAD) for owner, found in by_owner.items())
    more = len(owners) - SHOWN_OWNERS
    return Telling(
        notices=words("plans.told_first"),
        staff=words.count("plans.told_late", len(owners)),
        owners=owners[:SHOWN_OWNERS],
        more=words("happened.more", n=more) if more > 0 else "",
        rest=LATE_HEAD,
    )


def _noted(side: Mapping[str, Any] | None) -> Whereabouts | None:
    return None if side is None else Whereabouts(side["kiln"], side["firing"], iso_minute(side["out_at"]))


def _line(
    load: str, before: Whereabouts | None, after: Whereabouts | None, promised: Minute | None, formats: Formats
) -> ChangeLine:
    words = formats.words

    def text(side: Whereabouts | None) -> str:
        if side is None:
            return words("plans.no_place")
        return words("plans.place", kiln=side.kiln, out=formats.clock(side.out_at))

    kept = promised is not None and before is not None and before.out_at <= promised
    late = promised is not None and after is not None and after.out_at > promised
    if after is None:
        mark = words("plans.mark_none")
        if promised is not None:
            mark = words("plans.mark_promised", mark=mark, at=formats.clock(promised))
    elif late and kept:
        mark = words("plans.mark_broken")
    elif before is None:
        mark = words("plans.mark_new")
    elif after.out_at > before.out_at:
        mark = words("plans.mark_later", by=formats.spelt_duration(after.out_at - before.out_at))
    elif after.out_at < before.out_at:
        mark = words("plans.mark_earlier", by=formats.spelt_duration(before.out_at - after.out_at))
    else:
        mark = words("plans.mark_kiln")
    if late and after is not None and promised is not None:
        mark = words("plans.mark_late", mark=mark, by=formats.spelt_duration(after.out_at - promised))
    sooner = before is not None and after is not None and after.out_at <= before.out_at
    return ChangeLine(
        load, text(before), text(after), mark, after is None or (late and not sooner),
        "" if after is None else after.firing, "" if before is None else before.firing,
    )  # fmt: skip


def _missed(line: ChangeLine, missed: Mapping[str, str], start: Minute | None, formats: Formats) -> ChangeLine:
    """The line of a load whose firing did not come about, or not well: why it has to look for a place again."""
    key = "plans.refire" if missed["why"] == "refire" else "plans.not_noted"
    at = formats.clock(iso_minute(missed["start_at"]))
    before = formats.words(key, firing=missed["firing"], kiln=missed["kiln"], at=at)
    if start is None:
        return replace(line, before=before)
    again = formats.words("plans.placed_again", firing=line.firing, start=formats.clock(start), place=line.after)
    return replace(line, before=before, after=again)
