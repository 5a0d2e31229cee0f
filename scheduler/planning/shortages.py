"""What a firing is short of: its kiln, hands, current, a clean-out, the order of its stages, or its day of before."""

from __future__ import annotations

import numpy as np

from scheduler.planning.timetable import Timetable, heating_end, out_minutes


def short_of_hands(timetable: Timetable, number: int) -> tuple[int, int] | None:
    """A group of people, and the first slot in which it is too few while a firing is cleaned out for, or handled."""
    problem, firing = timetable.problem, timetable.firings[number]
    place, phases = firing.place, firing.fit.phases
    first = max(0, place.load - timetable.cleaning_slots(number))
    for begin, end in ((first, place.load + phases.load), (place.unload, place.unload + phases.unload)):
        used, people = timetable.people_used[:, begin:end], problem.people[:, begin:end]
        short = np.argwhere((used > people).T)
        if len(short):
            return int(short[0][1]), begin + int(short[0][0])
    return None


def short_of_current(timetable: Timetable, number: int) -> tuple[int, int] | None:
    """A line, and the first slot in which a firing heats and more current is asked of that line than it bears."""
    problem, firing = timetable.problem, timetable.firings[number]
    begin, end = firing.place.start, heating_end(firing)
    lines = problem.kiln_lines[firing.kiln]
    over = np.argwhere(timetable.lines_used[lines, begin:end] > problem.line_limit[lines, None])
    return (int(lines[over[0][0]]), begin + int(over[0][1])) if len(over) else None


def is_away(timetable: Timetable, load: int) -> bool:
    """Whether a load of the plan before is in another kiln now, or out on another day, or has no place."""
    stay = timetable.batches.stays.get(load)
    if stay is None:
        return False
    number = timetable.firing_of.get(load)
    if number is None:
        return True
    firing = timetable.firings[number]
    return not stay.is_kept(firing.kiln, out_minutes(firing, timetable.problem.grid_minutes))


def stands(timetable: Timetable, number: int) -> bool:
    """Whether a booked firing breaks no rule that others' places decide."""
    firing = timetable.firings[number]
    row = firing.row(number)
    if any(begin < row[1] and end > row[0] for begin, end, other in timetable.busy(firing.kiln) if other != number):
        return False
    return (
        timetable.keeps_stages(firing)
        and short_of_hands(timetable, number) is None
        and short_of_current(timetable, number) is None
        and timetable.unclean(firing.kiln) is None
    )
