"""How a re-plan stays near the plan before: it moves only what is worth it many times over, and all else goes back.

A plan is never the best there is, and a search over all of it moves loads here and there for a small gain that has
nothing to do with what has happened. People have their dates, and their sheets, already. So after a bold beginning,
which finds places for what has none, a moved load costs a multiple of the studio's price (`Session.search`), and
firings are tried again at the places that they had (`clearing`). In the end all firings that keep their loads, kiln
and day go back to the minute at which they were, where that fits.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from scheduler.planning.session import Session
from scheduler.planning.shortages import is_away, stands
from scheduler.planning.timetable import Placed, Timetable

PASSES = 3
"""How often firings are tried at their old places: one that goes back may make room for another [-]."""


def damaged(timetable: Timetable) -> list[int]:
    """Loads that are not where they were, or were nowhere before; of those under way none is."""
    moving = {load for firing in timetable.firings.values() if not firing.fixed for load in firing.batch.loads}
    stays, every = timetable.batches.stays, range(len(timetable.problem.loads))
    return [
        load
        for load in every
        if is_away(timetable, load) or (load not in stays and (load in moving or load not in timetable.firing_of))
    ]


def mend(session: Session) -> None:
    """Search for a plan that moves what is worth it, and nothing else; leaves it in the session's timetable.

    The timetable keeps the dearer price of moving until the session has settled and written the plan.
    """
    timetable = session.timetable
    before = tuple(firing for firing in timetable.snapshot() if _is_home(timetable, firing))
    session.search(before=before)
    put_back(timetable, before)


def put_back(timetable: Timetable, before: Sequence[Placed]) -> None:
    """Put firings that keep their loads, kiln and day where they were ``before``, where that fits, and hold them there.

    No load moves to another kiln or day by this, none costs more for being late, and no kiln needs more clean-outs.
    """
    was = {firing.batch.loads: firing for firing in before}
    for _ in range(PASSES):
        back = [_put_back(timetable, number, was) for number in _in_order(timetable)]
        if not any(back):
            break
    timetable.log.clear()


def _is_home(timetable: Timetable, firing: Placed) -> bool:
    """Whether a firing is where people know it: not a load of it was nowhere, in another kiln or on another day."""
    loads = firing.batch.loads
    known = all(load in timetable.batches.stays and not is_away(timetable, load) for load in loads)
    return known and not firing.fixed


def _in_order(timetable: Timetable) -> list[int]:
    firings = timetable.firings
    return sorted(firings, key=lambda number: (firings[number].place.start, number))


def _put_back(timetable: Timetable, number: int, was: Mapping[tuple[int, ...], Placed]) -> bool:
    """Put one firing back; whether it is there now and was not before."""
    firing = timetable.firings[number]
    old = was.get(firing.batch.loads)
    if old is None or not _is_exact(timetable, old):
        return False
    if old.late_cost > firing.late_cost + 1e-6 or not _is_home(timetable, firing):
        return False
    mark = len(timetable.log)
    cleaning = timetable.cleaning_cost()
    timetable.remove(number)
    new = timetable.add(replace(timetable.priced(old), fixed=True))
    if stands(timetable, new) and timetable.cleaning_cost() <= cleaning + 1e-6:
        return True
    timetable.undo(mark)
    return False


def _is_exact(timetable: Timetable, firing: Placed) -> bool:
    """Whether a firing stands with its real mass: what is held is not settled any more."""
    charge = timetable.batches.charge(firing.batch, firing.kiln, exact=True)
    return charge is not None and firing.fit.phases.charge == charge[0]
