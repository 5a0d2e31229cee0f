"""What a what-if tries, in words: how the studio that is supposed differs from the one that there is."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from api.happened import named, out_of_use
from api.problems import thing
from api.tariff_words import clock_text, tariff_told, week_days
from api.wire import NAMED_PARTS, said, written
from api.words import tell
from shared.kilns import Circuit, Kiln
from shared.studio import Shift, Studio
from shared.texts import Text

LISTS = ("closed", "absences", "quiet", "clean_outs")
"""The studio's lists of which it is said only that there is one more."""

SINGLES = ("rules", "prices")
"""The tables that stand once, as fields of a studio, and are told key by key."""


def tried(before: Studio, after: Studio, added: Sequence[str], cancelled: Sequence[str]) -> tuple[Text, ...]:
    """Each difference between two studios, and loads that are added or left out, one text each."""
    told: list[Text] = []
    for kind in NAMED_PARTS:
        told += _named_parts(kind, before, after)
    told += [_shift(shift) for shift in after.shifts if shift not in before.shifts]
    told += [out_of_use(outage, after) for outage in after.outages if outage not in before.outages]
    for kind in LISTS:
        told += [
            tell("tried.in_addition", what=thing(kind))
            for one in getattr(after, kind)
            if one not in getattr(before, kind)
        ]
    if after.tariff != before.tariff:
        currency = after.place.currency
        told.append(
            tell("tried.tariff", prices=tariff_told(after.tariff, currency), was=tariff_told(before.tariff, currency))
        )
    for kind in SINGLES:
        changes = _differences(said(getattr(before, kind), before.place), said(getattr(after, kind), before.place))
        if changes:
            told.append(tell("tried.changed", what=thing(kind), changes=changes))
    changes = _differences(said(before.place, before.place), said(after.place, before.place))
    if changes:
        told.append(tell("tried.changed", what=thing("studio"), changes=changes))
    if added:
        told.append(tell("tried.added", loads=named(added)))
    if cancelled:
        told.append(tell("tried.cancelled", loads=named(cancelled)))
    return tuple(told)


def _named_parts(kind: str, before: Studio, after: Studio) -> list[Text]:
    was = {one.id: one for one in getattr(before, kind)}
    will = {one.id: one for one in getattr(after, kind)}
    told = [tell("tried.without", what=thing(kind), name=name) for name in was if name not in will]
    for name, one in will.items():
        old = was.get(name)
        if old is None:
            told.append(_one_more(kind, one, before))
        elif (
            old != one and isinstance(one, Circuit) and one == old.model_copy(update={"breaker_amps": one.breaker_amps})
        ):
            told.append(tell("tried.breaker", circuit=name, amps=float(one.breaker_amps), was=float(old.breaker_amps)))
        elif old != one:
            changes = _differences(said(old, before.place), said(one, before.place))
            told.append(tell("tried.changed_part", what=thing(kind), name=name, changes=changes))
    return told


def _one_more(kind: str, one: Any, before: Studio) -> Text:
    """A kiln, circuit or profile that is not there yet; a kiln that is built as another one as that."""
    if isinstance(one, Kiln):
        body = written(one, before.place)
        for kiln in before.kilns:
            if written(kiln, before.place) | {"id": one.id} == body:
                return tell("tried.kiln_like", kiln=one.id, like=kiln.id)
    return tell("tried.one_more", what=thing(kind), name=one.id)


def _shift(shift: Shift) -> Text:
    hours = {"n": shift.hands, "opens": clock_text(shift.opens), "closes": clock_text(shift.closes)}
    if shift.on is not None:
        text = tell("tried.hands_on", day=datetime.combine(shift.on, datetime.min.time()), **hours)
    else:
        text = tell("tried.hands", days=week_days(shift.days), **hours)
    return text + (tell("tried.skills", skills=shift.skills) if shift.skills else "")


def _differences(was: dict[str, Any], will: dict[str, Any]) -> tuple[Text, ...]:
    """The keys of a table whose values differ, named as in the studio's files; numbers and words with both values."""
    return tuple(
        _difference(key, was.get(key), will.get(key)) for key in {**was, **will} if was.get(key) != will.get(key)
    )


def _difference(key: str, was: object, will: object) -> Text:
    plain = (int, float, str)
    if isinstance(was, plain) and isinstance(will, plain):
        if isinstance(was, str) or isinstance(will, str) or isinstance(was, bool) or isinstance(will, bool):
            return tell("tried.value", key=key, value=str(will), was=str(was))
        return tell("tried.number", key=key, value=float(will), was=float(was))
    return tell("tried.key", key=key)
