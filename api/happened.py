"""What a re-plan is made for, in words: what broke, who is away, which firings went otherwise, which loads came."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from api.formats import spelt_duration
from api.solving import Missed
from api.words import tell
from scheduler.planning.events import Away, Events, FiringLate
from shared.clock import Minute, local_time, wall_minute
from shared.plans import Plan
from shared.studio import Outage, Studio
from shared.texts import Text

MOST_NAMED = 12
"""How many loads one sentence names [-]; the rest is counted."""


def happened(
    events: Events,
    outages: Sequence[Outage],
    studio: Studio,
    plan: Plan,
    missed: Mapping[str, Missed],
    again: Sequence[str],
) -> tuple[Text, ...]:
    """What has happened since a plan was made, one text each.

    Parameters
    ----------
    events
        What the planner is told; its kilns and circuits are among ``outages``.
    outages
        What is out of use, with the moment from which on it is.
    studio, plan
        As they were before.
    missed, again
        Loads whose firing did not come about, and loads that are to look for another place.
    """
    told = [out_of_use(outage, studio) for outage in outages]
    told += [_away(away, studio) for away in events.absent]
    kilns = {firing.id: firing.kiln for firing in plan.firings}
    told += [_late(item, kilns) for item in events.late]
    for firing in {item.was.firing: item for item in missed.values()}.values():
        key = "happened.refire" if firing.why == "refire" else "happened.unnoted"
        at = local_time(firing.start_at, studio.place.zone)
        told.append(tell(key, firing=firing.was.firing, kiln=firing.was.kiln, at=at))
    for firing_id, outcome in events.outcomes.items():
        said = {"refire": "happened.said_refire", "fired": "happened.said_fired", "lost": "happened.said_lost"}
        told.append(tell(said[outcome], firing=firing_id))
    new = [load.id for load in events.add if load.id not in again]
    if new:
        told.append(tell("happened.new_loads", loads=named(new)))
    if events.cancel:
        told.append(tell("happened.cancelled", loads=named(sorted(events.cancel))))
    if again:
        told.append(tell("happened.again", loads=named(again)))
    return tuple(told)


def out_of_use(outage: Outage, studio: Studio) -> Text:
    """A kiln or a circuit that cannot be used, from when until when."""
    zone = studio.place.zone
    begins = local_time(outage.begins, zone)
    until = (
        tell("happened.further_notice")
        if outage.ends is None
        else tell("happened.until", ends=local_time(outage.ends, zone))
    )
    if outage.kiln is not None:
        return tell("happened.kiln", kiln=outage.kiln, begins=begins, until=until)
    fed = tuple(k.id for k in studio.kilns if any(one.id == outage.circuit for one in studio.feeders(k.circuit)))
    return tell("happened.circuit", circuit=outage.circuit, kilns=fed, begins=begins, until=until)


def _away(away: Away, studio: Studio) -> Text:
    """Who is away, by the names of the shifts that fall out; only their times where they have none."""
    shifts = [shift for shift in studio.shifts if shift.comes(away.on) and away.opens in (None, shift.opens)]
    who = tuple(dict.fromkeys(shift.who for shift in shifts if shift.who))
    zone = studio.place.zone
    if away.opens is None:
        day = datetime.combine(away.on, datetime.min.time())
        return tell("happened.away_who", who=who, day=day) if who else tell("happened.away", day=day)
    opens = local_time(wall_minute(away.on, away.opens, zone), zone)
    return tell("happened.shift_who", who=who, opens=opens) if who else tell("happened.shift", opens=opens)


def _late(item: FiringLate, kilns: Mapping[str, str]) -> Text:
    by = spelt_duration(item.hours * 60.0)
    return tell("happened.late", firing=item.firing, kiln=kilns.get(item.firing, "?"), by=by)


def named(loads: Sequence[str]) -> tuple[object, ...]:
    """The names of some loads; of many the first ones, and how many more."""
    more = len(loads) - MOST_NAMED
    return (*loads[:MOST_NAMED], *([tell("happened.more", n=more)] if more > 0 else []))


def since(studio: Studio, was: Studio, now: Minute) -> tuple[Outage, ...]:
    """The outages that people have entered since a plan was made, and that are not over."""
    return tuple(o for o in studio.outages if o not in was.outages and (o.ends is None or o.ends > now))
