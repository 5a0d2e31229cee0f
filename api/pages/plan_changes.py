"""What a plan changes, by person: each load's place before and after."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from api.formats import Formats
from scheduler.audit import AuditedPlan
from shared.clock import Minute, minute_of
from shared.plans import Firing


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


@dataclass(frozen=True, slots=True)
class Place:
    """Where a load is fired."""

    kiln: str
    firing: str
    out_at: Minute


def changes_by_person(
    audited: AuditedPlan, notes: Mapping[str, Any], against: AuditedPlan | None, formats: Formats
) -> tuple[PersonChanges, ...]:
    """The changes, by person: as the re-plan has noted them, else against the plan that holds."""
    lines: dict[str, list[ChangeLine]] = {}
    if "changes" in notes:
        for item in notes["changes"]:
            before, after = _noted(item["before"]), _noted(item["after"])
            line = _line(item["load"], before, after, item["breaks_promise"], formats)
            lines.setdefault(item["owner"], []).append(line)
    elif against is not None:
        was, will = _places(against.plan.firings), _places(audited.plan.firings)
        for name in dict.fromkeys([*audited.loads, *against.loads]):
            before, after = was.get(name), will.get(name)
            if name not in audited.loads or _same(before, after, formats):
                continue
            load = audited.loads[name]
            kept = load.promised is not None and before is not None and before.out_at <= load.promised
            broken = kept and (after is None or after.out_at > (load.promised or 0))
            lines.setdefault(load.owner, []).append(_line(name, before, after, broken, formats))
    return tuple(
        PersonChanges(person or formats.words("plans.nobody"), tuple(found)) for person, found in sorted(lines.items())
    )


def _noted(side: Mapping[str, Any] | None) -> Place | None:
    if side is None:
        return None
    return Place(side["kiln"], side["firing"], minute_of(datetime.fromisoformat(side["out_at"])))


def _places(firings: tuple[Firing, ...]) -> dict[str, Place]:
    return {load: Place(f.kiln, f.id, f.out_at) for f in firings for load in f.loads}


def _same(before: Place | None, after: Place | None, formats: Formats) -> bool:
    if before is None or after is None:
        return before is after
    days = [formats.local(side.out_at).date() for side in (before, after)]
    return before.kiln == after.kiln and days[0] == days[1]


def _line(load: str, before: Place | None, after: Place | None, broken: bool, formats: Formats) -> ChangeLine:
    words = formats.words

    def text(side: Place | None) -> str:
        if side is None:
            return words("plans.no_place")
        return words("plans.place", kiln=side.kiln, out=formats.clock(side.out_at))

    if after is None:
        mark = words("plans.mark_none")
    elif broken:
        mark = words("plans.mark_broken")
    elif before is None:
        mark = words("plans.mark_new")
    elif after.out_at > before.out_at:
        mark = words("plans.mark_later", by=formats.spelt_duration(after.out_at - before.out_at))
    elif after.out_at < before.out_at:
        mark = words("plans.mark_earlier", by=formats.spelt_duration(before.out_at - after.out_at))
    else:
        mark = words("plans.mark_kiln")
    return ChangeLine(
        load, text(before), text(after), mark, after is None or broken,
        "" if after is None else after.firing, "" if before is None else before.firing,
    )  # fmt: skip
