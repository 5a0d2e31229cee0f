"""Clean-outs under way: somebody is cleaning a kiln out when a plan is made again, for a firing that is not loaded yet.

The clean-out ends when it was to end, so the firing stays where it is, beside what is under way; what is to be loaded
within the hour is settled anyhow. As with holds, whether it can stay is judged by the audit. Where it cannot (its kiln
has failed, whoever cleans is away, the firing before it is late), it is planned like any other, and its kiln cleaned
out anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from scheduler.audit.breach import Breach
from scheduler.planning.holds import Holds
from shared.plans import Firing

OF_A_LOAD = frozenset({"ready", "after_gap"})
"""Rules by which a load may have to wait though its mates need not."""


def book_cleaned(holds: Holds, waiting: Sequence[Firing], under_way: dict[int, str]) -> dict[int, str]:
    """Fix the firings for which a kiln is being cleaned out; returns their ids, as ``under_way`` has others'."""
    begin = holds.session.problem.begin
    names: dict[int, str] = {}
    for firing in sorted(waiting, key=lambda firing: (firing.start_at, firing.id)):
        if firing.clean_out_minutes and firing.clean_out_at < begin:
            names |= _booked(holds, firing, under_way | names)
    return names


def _booked(holds: Holds, firing: Firing, names: dict[int, str]) -> dict[int, str]:
    """Book one such firing, without the loads that have to wait; nothing where it cannot stay."""
    problem, timetable = holds.session.problem, holds.session.timetable
    grid = problem.grid_minutes
    known = holds.found(names, frozenset(names.values()))
    placed = holds.placed(firing)
    if isinstance(placed, Breach):
        return {}
    placed = replace(placed, cleaned_from=(firing.clean_out_at - problem.begin) // grid)
    first = placed.batch.loads[0]
    number = timetable.add(placed)
    mine = names | {first: firing.id}
    new = [breach for breach in holds.found(mine, frozenset(mine.values())) if breach not in known]
    as_long = timetable.cleaning_slots(number) * grid == firing.clean_out_minutes
    if not new and as_long and timetable.unclean(placed.kiln) is None:
        timetable.log.clear()
        return {first: firing.id}
    timetable.remove(number)
    timetable.log.clear()
    wait = {breach.load_id for breach in new if breach.rule in OF_A_LOAD}
    left = tuple(load for load in firing.loads if load not in wait)
    if not wait or not left or left == firing.loads:
        return {}
    layers = tuple(rest for layer in firing.layers if (rest := tuple(load for load in layer if load in left)))
    return _booked(holds, firing.model_copy(update={"loads": left, "layers": layers}), names)
