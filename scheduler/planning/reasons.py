"""Why a load has no place: the first rule that keeps it out, in words."""

from __future__ import annotations

from scheduler.planning.timetable import Timetable
from shared.loads import size_row
from shared.plans import Unplaced


def unplaced_loads(timetable: Timetable) -> list[Unplaced]:
    """Every load without a firing, with the rule that binds."""
    problem = timetable.problem
    return [_reason(timetable, load) for load in range(len(problem.loads)) if load not in timetable.firing_of]


def _reason(timetable: Timetable, number: int) -> Unplaced:
    rule, why, helps = _binding(timetable, number)
    return Unplaced(load=timetable.problem.loads[number].id, rule=rule, why=why, would_help=helps)


def _binding(timetable: Timetable, number: int) -> tuple[str, str, tuple[str, ...]]:
    problem, batches = timetable.problem, timetable.batches
    load = problem.loads[number]
    profile = problem.studio.profile_by_id[load.profile]
    try:
        row = size_row(profile, [load])
    except LookupError as error:
        return "size_row", str(error), ("add a size row that takes it",)
    return "time", "todo", ()
