"""Which day of a plan in hand is shown."""

from __future__ import annotations

from datetime import date

from api.words import Words
from shared.clock import Minute, local_time
from shared.errors import RequestError
from shared.plans import Plan
from shared.studio import Studio


def planned_day(text: str | None, plan: Plan, now: Minute, studio: Studio, words: Words) -> date:
    """The day named; else today, or the plan's first day where today lies outside it.

    Raises
    ------
    RequestError
        If it is no day, or the plan does not reach it.
    """
    zone = studio.place.zone
    last = max([plan.end, *(max(firing.free_at, firing.out_at) for firing in plan.firings)])
    first_day, last_day = local_time(plan.begin, zone).date(), local_time(last - 1, zone).date()
    if text is None:
        today = local_time(now, zone).date()
        return today if first_day <= today <= last_day else first_day
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise RequestError(words("show.no_day", day=text, first=first_day.isoformat())) from None
    if not first_day <= day <= last_day:
        outside = words("show.outside", day=text, first=first_day.isoformat(), last=last_day.isoformat())
        raise RequestError(outside)
    return day
