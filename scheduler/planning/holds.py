"""Holds: firings that a person has fixed. They stay unless they have become impossible; then it is said.

Whether one is still possible is judged by the audit, to the minute, beside what is under way and the other holds: the
search's grid is coarser, and what a person has settled may lie closer than the search would dare.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from scheduler.audit import breaches
from scheduler.audit.breach import Breach
from scheduler.planning.batches import Fit
from scheduler.planning.dispatch import fixed_firings, in_stages
from scheduler.planning.heats import Charge
from scheduler.planning.insertion import Inserter
from scheduler.planning.session import Session
from scheduler.planning.settle import firings_of
from scheduler.planning.timetable import Placed
from shared.loads import session_minutes
from shared.plans import CostParts, Firing, HoldNote, Plan, Proof
from shared.texts import say

OF_THE_WHOLE = frozenset({"each_load_once", "costs"})
"""Rules of the audit that a part of a plan cannot keep."""


@dataclass
class Holds:
    """The firings that are held in one planning session.

    Attributes
    ----------
    asked
        The firings as they were asked to stay.
    names
        The id of each that stays, by the number of its first load.
    notes
        What became of those that could not stay as they were.
    """

    session: Session
    asked: tuple[Firing, ...]
    names: dict[int, str] = field(default_factory=dict)
    notes: list[HoldNote] = field(default_factory=list)

    def book(self, under_way: dict[int, str]) -> None:
        """Fix every firing that can stay; ``under_way`` are the ids of what is booked already, as in ``names``."""
        if not self.asked:
            return
        timetable = self.session.timetable
        known = self._found(under_way, frozenset(under_way.values()))
        wanted: list[tuple[Firing, Placed]] = []
        for firing in sorted(self.asked, key=lambda firing: (firing.start_at, firing.id)):
            if firing.id in under_way.values():
                # Its kiln is being cleaned out for it, so that it is booked.
                self.names |= {first: name for first, name in under_way.items() if name == firing.id}
                self._tell_missing(firing)
                continue
            placed = self.placed(firing)
            if isinstance(placed, Breach):
                self._let_go(firing, placed)
            else:
                wanted.append((firing, placed))
        if self._all_can_stay(wanted, known, under_way):
            return
        for firing, placed in wanted:
            self.names[placed.batch.loads[0]] = firing.id
            number = timetable.add(placed)
            found = self._found(under_way | self.names, frozenset(under_way.values()))
            new = [breach for breach in found if breach not in known]
            if new or timetable.unclean(placed.kiln) is not None:
                timetable.remove(number)
                del self.names[placed.batch.loads[0]]
                self._let_go(firing, new[0] if new else _no_time_to_clean(firing))
                continue
            known = found
            self._tell_missing(firing)
        timetable.log.clear()

    def _all_can_stay(
        self, wanted: Sequence[tuple[Firing, Placed]], known: Sequence[Breach], under_way: dict[int, str]
    ) -> bool:
        """Book all at once where they break nothing together: one audit in place of one for each."""
        timetable = self.session.timetable
        mark = len(timetable.log)
        for firing, placed in wanted:
            self.names[placed.batch.loads[0]] = firing.id
            timetable.add(placed)
        if all(timetable.unclean(placed.kiln) is None for _, placed in wanted):
            found = self._found(under_way | self.names, frozenset(under_way.values()))
            if all(breach in known for breach in found):
                for firing, _ in wanted:
                    self._tell_missing(firing)
                timetable.log.clear()
                return True
        timetable.undo(mark)
        for _, placed in wanted:
            del self.names[placed.batch.loads[0]]
        return False

    def settle_stages(self, place_others: Callable[[], object]) -> None:
        """Fix the earlier stages of what is held where they are now; without a place for one, its hold is let go.

        Where one has no place only because others came first, it comes before them: ``place_others`` is then asked to
        place anew what is not fixed.
        """
        session, timetable = self.session, self.session.timetable
        if self._missing_stages():
            timetable.restore(fixed_firings(timetable))
            stages = in_stages(session.problem, self._missing_stages())
            Inserter(timetable, session.settings.seed).insert_loads(stages, late_last=False)
            for number in dict.fromkeys(timetable.firing_of[n] for n in stages if n in timetable.firing_of):
                self._fix(number)
            place_others()
        let_go: list[int] = []
        for first in [first for first in self.names if first in timetable.firing_of]:
            number = timetable.firing_of[first]
            earlier = self._earlier(timetable.firings[number])
            missing = [load for load in earlier if load not in timetable.firing_of]
            if missing:
                firing = next(firing for firing in self.asked if firing.id == self.names[first])
                stage = session.problem.loads[missing[0]].id
                text = say("hold.earlier_stage_no", stage=stage)
                del self.names[first]
                let_go += timetable.remove(number).batch.loads
                self._let_go(firing, Breach("after_gap", firing.id, None, firing.load_at, text))
                continue
            for load in earlier:
                self._fix(timetable.firing_of[load])
        inserter = Inserter(timetable, session.settings.seed)
        for load in let_go:
            inserter.insert_load(load)
        timetable.log.clear()

    def told(self, plan: Plan) -> Plan:
        """The plan with its held firings marked and the notes in it."""
        ids = set(self.names.values())
        firings = tuple(f.model_copy(update={"held": True}) if f.id in ids else f for f in plan.firings)
        return plan.model_copy(update={"firings": firings, "hold_notes": tuple(self.notes)})

    def _fix(self, number: int) -> None:
        """Fix a firing at its start, with its real mass: what is fixed is not settled any more."""
        timetable, batches = self.session.timetable, self.session.batches
        firing = timetable.firings[number]
        if firing.fixed:
            return
        mark = len(timetable.log)
        timetable.remove(number)
        start = firing.place.start
        with batches.with_real_masses():
            fit = batches.fit(firing.batch, firing.kiln)
            placed = None if fit is None else timetable.best_place(firing.batch, firing.kiln, fit, only_start=start)
        if placed is not None:
            timetable.add(replace(placed, fixed=True))
        if placed is None or timetable.unclean(firing.kiln) is not None:
            timetable.undo(mark)

    def _missing_stages(self) -> list[int]:
        """Loads without a place that held firings wait for, with the stages before them."""
        timetable, problem = self.session.timetable, self.session.problem
        held = [timetable.firing_of[first] for first in self.names if first in timetable.firing_of]
        asked = [load for number in held for load in self._earlier(timetable.firings[number])]
        missing: dict[int, None] = {}
        while asked:
            load = asked.pop()
            if load not in timetable.firing_of:
                missing[load] = None
                before = problem.loads[load].after
                asked += [problem.load_number[before]] if before in problem.load_number else []
        return list(missing)

    def _earlier(self, placed: Placed) -> list[int]:
        problem = self.session.problem
        names = [problem.loads[load].after for load in placed.batch.loads]
        return [problem.load_number[name] for name in names if name is not None and name in problem.load_number]

    def placed(self, firing: Firing) -> Placed | Breach:
        """A held firing at its place, without loads that wait no more; or why it cannot be booked at all."""
        session, problem = self.session, self.session.problem
        numbers = [problem.load_number[load] for load in firing.loads if load in problem.load_number]
        if not numbers:
            return Breach("each_load_once", firing.id, None, None, say("hold.none_loads_waits"))
        kilns = {kiln.id: number for number, kiln in enumerate(problem.kilns)}
        times = (firing.load_at, firing.start_at, firing.unload_at)
        if firing.kiln not in kilns or firing.profile not in problem.studio.profile_by_id:
            gone = (
                say("hold.kiln", kiln=firing.kiln)
                if firing.kiln not in kilns
                else say("hold.profile", profile=firing.profile)
            )
            return Breach("well_formed", firing.id, None, None, say("hold.studio_no_any", gone=gone))
        if firing.load_at < problem.begin:
            return Breach("within_plan", firing.id, None, firing.load_at, say("hold.would_loaded_before"))
        if any((at - problem.begin) % problem.grid_minutes for at in times):
            return Breach("on_grid", firing.id, None, firing.load_at, say("hold.times_lie_off"))
        own = [problem.loads[number] for number in numbers]
        batch = session.batches.make(firing.profile, numbers)
        kiln = problem.kilns[kilns[firing.kiln]]
        if batch is None:
            return Breach("shares_firing", firing.id, None, None, say("hold.loads_may_not"))
        left = {load.id for load in own}
        layers = tuple(kept for layer in firing.layers if (kept := tuple(load for load in layer if load in left)))
        hot = problem.studio.profile_by_id[firing.profile].unload == "hot"
        session_length = session_minutes(kiln, own) if hot else 0.0
        charge = Charge(kilns[firing.kiln], firing.profile, batch.row, batch.ware_kg, len(layers), session_length)
        phases = session.batches.heats.phases(charge)
        if phases is None:
            return Breach("computed_times", firing.id, None, None, say("hold.does_not_reach", kiln=kiln.id))
        slots = [(at - problem.begin) // problem.grid_minutes for at in times]
        placed = session.timetable.placed_at(batch, charge.kiln, Fit(layers, phases), *slots)
        return replace(placed, fixed=True)

    def _found(self, names: dict[int, str], under_way: frozenset[str]) -> list[Breach]:
        """What the audit finds in what is booked, but for stages that have no place yet: they are planned around."""
        after = {load.id: load.after for load in self.session.problem.loads}
        booked = {self.session.problem.loads[load].id for load in self.session.timetable.firing_of}
        return [
            breach
            for breach in self.found(names, under_way)
            if not (breach.rule == "after_gap" and after.get(breach.load_id or "") not in booked)
        ]

    def found(self, names: dict[int, str], under_way: frozenset[str]) -> list[Breach]:
        """What the audit finds in a plan of nothing but what is booked, with these names by first load."""
        session, problem = self.session, self.session.problem
        placed = session.timetable.snapshot()
        part = Plan(
            studio=problem.studio.place.name,
            made_at=problem.begin,
            begin=problem.begin,
            end=problem.end,
            proof=Proof(status="unproved", cost=0.0, bound=0.0, seconds=0.0),
            cost_parts=CostParts(),
            firings=firings_of(session.timetable, [names[one.batch.loads[0]] for one in placed]),
            under_way=tuple(sorted(under_way)),
            replanned=True,
        )
        return [breach for breach in breaches(problem.studio, problem.loads, part) if breach.rule not in OF_THE_WHOLE]

    def _let_go(self, firing: Firing, breach: Breach) -> None:
        why = say("hold.load", load=breach.load_id, text=breach.text) if breach.load_id is not None else breach.text
        self.notes.append(_note(firing, breach.rule, why, kept=False))

    def _tell_missing(self, firing: Firing) -> None:
        gone = [load for load in firing.loads if load not in self.session.problem.load_number]
        if gone:
            why = say("hold.waits_no_more" if len(gone) == 1 else "hold.wait_no_more", loads=tuple(gone))
            self.notes.append(_note(firing, "each_load_once", why, kept=True))


def numbered(placed: Sequence[Placed], held: dict[int, str]) -> list[str]:
    """Ids of a new plan's firings: those that are held keep theirs, the others are numbered in order of loading."""
    taken = set(held.values())
    names: list[str] = []
    number = 0
    for firing in placed:
        own = held.get(firing.batch.loads[0]) if firing.fixed else None
        while own is None:
            number += 1
            own = f"F{number}" if f"F{number}" not in taken else None
        names.append(own)
    return names


def with_holds(plan: Plan, held: frozenset[str]) -> Plan:
    """A plan in which exactly the firings of these ids are held."""
    firings = tuple(
        firing if firing.held == (firing.id in held) else firing.model_copy(update={"held": firing.id in held})
        for firing in plan.firings
    )
    return plan.model_copy(update={"firings": firings})


def _note(firing: Firing, rule: str, why: str, kept: bool) -> HoldNote:
    return HoldNote(
        firing=firing.id, kiln=firing.kiln, start_at=firing.start_at, loads=firing.loads, rule=rule, why=why, kept=kept
    )


def _no_time_to_clean(firing: Firing) -> Breach:
    return Breach("clean_out", firing.id, None, firing.load_at, say("hold.there_no_time"))
