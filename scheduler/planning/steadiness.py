"""How a re-plan stays near the plan before: it moves only what is worth it many times over, and all else goes back.

A plan is never the best there is, and a search over all of it moves loads here and there for a small gain that has
nothing to do with what has happened. People have their dates, and their sheets, already. So while it is decided what
moves, a moved load costs a multiple of the studio's price, and firings are tried again at the places that they had.
In the end all firings that keep their loads, kiln and day go back to the minute at which they were, where that fits.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from scheduler.planning.session import Session
from scheduler.planning.shortages import stands
from scheduler.planning.timetable import Placed, Timetable, out_minutes

SURCHARGE = 5.0
"""How many times the studio's price a moved load costs while it is decided what moves [-]; house choice. Measured at
250 loads, a kiln out for three days, 8 s, three seeds (tests/benchmarks/planning_replan.py): with 1 between 12 and 39
loads moved that did not have to, with 5 between 2 and 12 at no higher cost; with 10 a load stayed without a place."""

PASSES = 3
"""How often firings are tried at their old places: one that goes back may make room for another [-]."""


def damaged(timetable: Timetable, new: Sequence[int]) -> list[int]:
    """Loads that are not where they were: in another kiln or on another day, without a place, or new."""
    grid = timetable.problem.grid_minutes
    found = set(new)
    for load, stay in timetable.batches.stays.items():
        number = timetable.firing_of.get(load)
        if number is None:
            found.add(load)
            continue
        firing = timetable.firings[number]
        if stay.kiln != firing.kiln or not stay.begin <= out_minutes(firing, grid) < stay.end:
            found.add(load)
    return sorted(found)


def mend(session: Session) -> None:
    """Search for a plan that moves what is worth it, and nothing else; leaves it in the session's timetable."""
    timetable = session.timetable
    before, price = timetable.snapshot(), timetable.moved_price
    timetable.reprice(SURCHARGE * price)
    session.search(before=before)
    timetable.reprice(price)
    put_back(timetable, before)


def put_back(timetable: Timetable, before: Sequence[Placed]) -> set[int]:
    """Put firings that keep their loads, kiln and day where they were ``before``, where that fits, and hold them there.

    Returns the numbers of those that are held. No load moves to another kiln or day by this, and none is later.
    """
    was = {firing.batch.loads: firing for firing in before if not firing.fixed}
    held: set[int] = set()
    for _ in range(PASSES):
        tried = [number for number in _in_order(timetable) if number not in held]
        back = {new for number in tried if (new := _put_back(timetable, number, was)) is not None}
        held |= back
        if not back:
            break
    timetable.log.clear()
    return held


def _in_order(timetable: Timetable) -> list[int]:
    firings = timetable.firings
    return sorted(firings, key=lambda number: (firings[number].place.start, number))


def _put_back(timetable: Timetable, number: int, was: Mapping[tuple[int, ...], Placed]) -> int | None:
    """Put one firing back; its new number, or None where it stays as it is."""
    firing = timetable.firings[number]
    old = was.get(firing.batch.loads)
    if firing.fixed or old is None or old.kiln != firing.kiln:
        return None
    if old.late_cost > firing.late_cost + 1e-6 or _moved(timetable, old) > _moved(timetable, firing):
        return None
    mark = len(timetable.log)
    timetable.remove(number)
    new = timetable.add(replace(old, fixed=True))
    if stands(timetable, new):
        return new
    timetable.undo(mark)
    return None


def _moved(timetable: Timetable, firing: Placed) -> int:
    return firing.batch.moved(firing.kiln, out_minutes(firing, timetable.problem.grid_minutes))
