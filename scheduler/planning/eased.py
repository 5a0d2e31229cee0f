"""When one load could be out, all other firings as planned, with one rule of the studio eased.

The quick look behind every reason: no search, only the exact placement of one load beside what is booked.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from scheduler.planning.batches import Batches
from scheduler.planning.heats import Heats
from scheduler.planning.problem import Problem, state_problem
from scheduler.planning.promise import book
from scheduler.planning.timetable import Placed, Timetable, out_minutes
from shared.clock import Minute
from shared.loads import Load
from shared.plans import Plan
from shared.profiles import Profile
from shared.studio import Studio

MANY = 1 << 14
"""More hands than any studio has [-]."""

Setting = tuple[Studio, tuple[Load, ...]]


@dataclass(frozen=True, slots=True)
class Ease:
    """A rule set aside: in the studio and its loads, in the problem on the grid, or in both."""

    rule: str
    setting: Callable[[Studio, tuple[Load, ...], Load], Setting] = lambda studio, loads, load: (studio, loads)
    problem: Callable[[Problem], Problem] = lambda problem: problem


class Beside:
    """A timetable with a plan's firings booked, but for one load, which is looked at by itself."""

    def __init__(self, studio: Studio, loads: Sequence[Load], rest: Plan, load: str, ease: Ease | None = None) -> None:
        own = next(one for one in loads if one.id == load)
        if ease is not None:
            studio, loads = ease.setting(studio, tuple(loads), own)
        end = max(rest.end, rest.begin + studio.rules.horizon_days * 24 * 60)
        stated = state_problem(studio, loads, rest.begin, end)
        self.problem = stated if ease is None else ease.problem(stated)
        self.batches = Batches(self.problem, Heats(self.problem))
        self.batches.exact = True
        self.timetable = Timetable(self.problem, self.batches)
        self.number = self.problem.load_number[load]
        book(self.timetable, rest)

    def soonest(self) -> Placed | None:
        """The place from which the load is out first, in a firing of its own or joining one as it is planned."""
        timetable, number, grid = self.timetable, self.number, self.problem.grid_minutes
        alone = self.batches.make(self.problem.loads[number].profile, (number,))
        if alone is None or timetable.bounds((number,)) is None:
            return None
        urgent = alone.at_any_price()
        found: list[Placed] = []
        for kiln in range(len(self.problem.kilns)):
            fit = self.batches.fit(alone, kiln)
            placed = None if fit is None else timetable.best_place(urgent, kiln, fit)
            if placed is not None:
                found.append(placed)
        for host in self.batches.hosts(number):
            for joined in tuple(timetable.by_profile.get(host, ())):
                placed = self._joining(joined, host)
                if placed is not None:
                    found.append(placed)
        return min(found, key=lambda p: (out_minutes(p, grid), p.kiln), default=None)

    def out_at(self) -> Minute | None:
        """When the load could be out; None where it has no place."""
        placed = self.soonest()
        return None if placed is None else self.problem.begin + out_minutes(placed, self.problem.grid_minutes)

    def _joining(self, joined: int, host: str) -> Placed | None:
        timetable = self.timetable
        firing = timetable.firings[joined]
        batch = self.batches.make(host, (*firing.batch.loads, self.number))
        if batch is None or firing.place.load < max(0, batch.ready):
            return None
        fit = self.batches.fit(batch, firing.kiln)
        if fit is None:
            return None
        mark = len(timetable.log)
        timetable.remove(joined)
        placed = timetable.best_place(batch, firing.kiln, fit, only_start=firing.place.start)
        timetable.undo(mark)
        # The others must not be later for it.
        return None if placed is None or placed.late_cost > firing.late_cost + 0.005 else placed


def more_hands(problem: Problem) -> Problem:
    """Hands at every hour, skills as they are."""
    people = problem.people.copy()
    people[0] = MANY
    return replace(problem, people=people)


def more_skills(problem: Problem) -> Problem:
    """Every hand has every skill."""
    people = problem.people.copy()
    people[1:] = people[0]
    return replace(problem, people=people)


def all_hands(problem: Problem) -> Problem:
    """Hands with every skill at every hour."""
    return replace(problem, people=np.full_like(problem.people, MANY))


def unattended(studio: Studio, loads: tuple[Load, ...], load: Load) -> Setting:
    """Every kiln may start, heat and end with nobody there."""
    kilns = tuple(k.model_copy(update={"unattended": True, "attend_end": False}) for k in studio.kilns)
    rules = studio.rules.model_copy(update={"unattended_start": True})
    return studio.model_copy(update={"kilns": kilns, "rules": rules}), loads


def any_kiln(studio: Studio, loads: tuple[Load, ...], load: Load) -> Setting:
    """Every kiln does the load's work, and the load may go into any."""
    work = profile_of(studio, load).work
    kilns = tuple(k if work in k.work else k.model_copy(update={"work": (*k.work, work)}) for k in studio.kilns)
    return studio.model_copy(update={"kilns": kilns}), with_load(loads, load.model_copy(update={"kilns": ()}))


def at_once(studio: Studio, loads: tuple[Load, ...], load: Load) -> Setting:
    """The load is ready."""
    return studio, with_load(loads, load.model_copy(update={"ready": None}))


def with_load(loads: Sequence[Load], changed: Load) -> tuple[Load, ...]:
    """The loads with one of them replaced by its id."""
    return tuple(changed if load.id == changed.id else load for load in loads)


def profile_of(studio: Studio, load: Load) -> Profile:
    """The profile that a load asks for."""
    return studio.profile_by_id[load.profile]


def without_quiet(studio: Studio, loads: tuple[Load, ...], load: Load) -> Setting:
    """There are no quiet times."""
    return studio.model_copy(update={"quiet": ()}), loads


def without_outages(studio: Studio, loads: tuple[Load, ...], load: Load) -> Setting:
    """Nothing is out of order."""
    return studio.model_copy(update={"outages": ()}), loads


def free_of_all(problem: Problem) -> Problem:
    """No rule of people, circuits, hours and outages."""
    eased = all_hands(problem).with_any_current().at_any_time()
    return replace(eased, blocked=tuple(() for _ in problem.kilns))


EASES: tuple[Ease, ...] = (
    Ease("hands", problem=more_hands),
    Ease("skills", problem=more_skills),
    Ease("hands", problem=all_hands),
    Ease("circuit_amps", problem=Problem.with_any_current),
    Ease("attendance", setting=unattended),
    Ease("quiet", setting=without_quiet),
    Ease("outages", setting=without_outages),
    Ease("work_fits_kiln", setting=any_kiln),
    Ease("ready", setting=at_once),
)
"""The rules that are set aside one at a time, the mildest first."""
