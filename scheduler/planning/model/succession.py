"""What follows what in a kiln, where work on the empty kiln between two firings depends on both."""

from __future__ import annotations

from dataclasses import dataclass

from ortools.sat.python import cp_model

from scheduler.planning.model.variables import Leader, Part, Variables


@dataclass(frozen=True, slots=True, eq=False)
class Stop:
    """A possible stop of a kiln's round: a leader there, or a fixed firing (``number``, booked ``[load, free)``)."""

    work: int
    here: cp_model.IntVar | None
    leader: Leader | None = None
    load: int = 0
    free: int = 0
    opens: int = 0


def clean_out(model: cp_model.CpModel, part: Part, v: Variables) -> None:
    """Between two firings of a kiln lies the clean-out that their works ask for: ``load_at >= free_at + clean-out``.

    A kiln's firings are a round of arcs (Grotschel & Padberg's circuit constraint as CP-SAT has it); each arc knows the
    two works, so it knows the clean-out.
    """
    if not part.timetable.problem.clean_outs.any:
        return
    kilns = dict.fromkeys(option.kiln for leader in v.leaders for option in leader.options)
    for kiln in kilns:
        _round(model, part, v, kiln)


def _round(model: cp_model.CpModel, part: Part, v: Variables, kiln: int) -> None:
    clean_outs = part.timetable.problem.clean_outs
    leaders = [_stop(model, part, leader, kiln) for leader in v.leaders if any(o.kiln == kiln for o in leader.options)]
    fixed = _fixed(part, kiln)
    stops = [*leaders, *fixed]
    first = Stop(clean_outs.first[kiln], None)
    arcs: list[tuple[int, int, cp_model.LiteralT]] = []
    empty = model.new_bool_var("")
    arcs.append((0, 0, empty))
    for index, stop in enumerate(stops, start=1):
        arcs.append((index, 0, model.new_bool_var("")))
        if stop.here is not None:
            arcs.append((index, index, ~stop.here))
            model.add_implication(stop.here, ~empty)
        else:
            model.add(empty == 0)
    for to, after in enumerate(stops, start=1):
        for come_from, before in enumerate([first, *stops]):
            if before is after or not _may_follow(part, before, after, [first, *fixed]):
                continue
            arc = model.new_bool_var("")
            arcs.append((come_from, to, arc))
            _follow(model, part, before, after, arc)
            price = int(clean_outs.micros[before.work, after.work])
            if price:
                v.cleaning.append((arc, price))
    model.add_circuit(arcs)


def _stop(model: cp_model.CpModel, part: Part, leader: Leader, kiln: int) -> Stop:
    batch = part.timetable.batches.make(leader.profile, (leader.load,))
    assert batch is not None  # a leader has a batch of its own
    present = [option.present for option in leader.options if option.kiln == kiln]
    here = present[0]
    if len(present) > 1:
        here = model.new_bool_var("")
        model.add(cp_model.LinearExpr.sum(present) == here)
    return Stop(batch.work, here, leader)


def _fixed(part: Part, kiln: int) -> list[Stop]:
    """The kiln's booked firings in order; ``opens`` is when whatever is before them, an outage included, has ended."""
    stops = []
    opens = 0
    for load, free, number in part.timetable.busy(kiln):
        if number >= 0:
            stops.append(Stop(part.timetable.firings[number].batch.work, None, None, load, free, opens))
            opens = 0
        else:
            opens = free
    return stops


def _may_follow(part: Part, before: Stop, after: Stop, booked: list[Stop]) -> bool:
    """Whether one stop can come right after another at all; ``booked`` are the kiln's begin and its fixed firings."""
    if after.leader is not None:
        return True
    timetable = part.timetable
    clean_outs = timetable.problem.clean_outs
    booked_before = booked[booked.index(after) - 1]
    if before.leader is None and before is not booked_before:
        return False
    slots = int(clean_outs.slots[before.work, after.work])
    if slots and after.load > 0 and after.load - slots < after.opens:
        return False  # before a firing that is under way its kiln has been cleaned out
    extra = slots - int(clean_outs.slots[booked_before.work, after.work])
    if extra <= 0 or not clean_outs.takes_hands:
        return True
    span = slice(max(0, after.load - slots), max(0, after.load - slots + extra))
    people = timetable.problem.people[0, span]
    return bool((timetable.people_used[0, span] < people).all())


def _follow(model: cp_model.CpModel, part: Part, before: Stop, after: Stop, arc: cp_model.IntVar) -> None:
    slots = int(part.timetable.problem.clean_outs.slots[before.work, after.work])
    done = before.leader.free if before.leader is not None else before.free
    if after.leader is not None:
        model.add(after.leader.clean_at == after.leader.load_at - slots).only_enforce_if(arc)
        model.add(after.leader.load_at >= done + slots).only_enforce_if(arc)
    elif before.leader is not None:
        model.add(before.leader.free <= after.load - slots).only_enforce_if(arc)
