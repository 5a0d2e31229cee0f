"""Rules about people: hands for every task, skills for every session, somebody there where it is asked."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from scheduler.audit.breach import Breach
from scheduler.audit.case import Case, Fired
from scheduler.audit.sweep import Stretch, excesses, gap_in, sweep
from shared.clock import Minute
from shared.texts import say


@dataclass(frozen=True, slots=True)
class Task:
    """A clean-out, a loading, an unloading or a session: ``people`` pairs of hands from ``begin`` to ``end`` [min]."""

    name: str
    fired: Fired
    begin: Minute
    end: Minute
    people: int = 1


def _tasks(case: Case) -> list[Task]:
    """Every task that is still to be done, or done in part."""
    found = []
    for fired in case.fired:
        unloading = "session" if fired.hot_unload else "unloading"
        tasks = [("loading", fired.loading), (unloading, fired.unloading)]
        if fired.firing.clean_out_minutes and (fired.since is None or fired.firing.load_at > fired.since):
            tasks.insert(0, ("clean_out", fired.cleaning))
        for name, (begin, end) in tasks:
            if not fired.is_history(end):
                people = fired.profile.session_people if name == "session" else 1
                found.append(Task(name, fired, *fired.judged(begin, end), people))
    return found


def hands(case: Case) -> Iterator[Breach]:
    """Every minute of every task lies in a shift with hands free: ``sum of the tasks' people <= hands on duty``.

    A session takes ``session_people``, every other task one. Closed days have no shifts. A task that takes no time
    still needs its people there at that moment.
    """
    tasks, duties = _tasks(case), case.duties
    for task in tasks:
        missing = gap_in(task.begin, task.end, case.staffed)
        if missing is not None:
            text = say("audit.lies_outside_shifts", task=_about(case, task), at=case.when(missing))
            yield Breach("hands", task.fired.firing.id, None, missing, text)
        elif task.begin == task.end:
            there = sum(duty.shift.hands for duty in duties if duty.begin <= task.begin <= duty.end)
            if there < task.people:
                text = say("audit.people_at_once_but", needed=task.people, hands=there, tasks=(_about(case, task),))
                yield Breach("hands", task.fired.firing.id, None, task.begin, text, float(task.people - there))

    def excess(stretch: Stretch) -> float:
        on_duty = sum(duties[number - len(tasks)].shift.hands for number in stretch.active if number >= len(tasks))
        at_once = sum(tasks[number].people for number in stretch.active if number < len(tasks))
        return at_once - on_duty if on_duty else 0  # outside the shifts is told above

    spans = [(task.begin, task.end) for task in tasks] + [(duty.begin, duty.end) for duty in duties]
    for run in excesses(sweep(spans), excess):
        at_once = [tasks[number] for number in run.worst.active if number < len(tasks)]
        last = max(at_once, key=lambda task: (task.begin, task.fired.number))
        needed, about = sum(task.people for task in at_once), tuple(_about(case, task) for task in at_once)
        text = (
            say("audit.tasks_once_but", number=needed, hands=needed - int(run.by), tasks=about)
            if needed == len(at_once)
            else say("audit.people_at_once_but", needed=needed, hands=needed - int(run.by), tasks=about)
        )
        yield Breach("hands", last.fired.firing.id, None, run.worst.begin, text, run.by)


def skills(case: Case) -> Iterator[Breach]:
    """Each session that asks for a skill has a hand with that skill, and every such hand serves one session at a time.

    Of several people at a session one has the skill; the others only help, and `hands` counts them.

    Notes
    -----
    Hands are dealt out to sessions by augmenting paths. Helpers take whoever is left, so that counting all hands and
    dealing out the skilled ones say together that everybody is there. A complete deal exists just where for every set
    of skills ``sessions asking for one of them <= hands that have one of them`` (P. Hall, On representatives of
    subsets, 1935).
    """
    sessions = [task for task in _tasks(case) if task.name == "session" and task.fired.profile.skill is not None]
    duties = case.duties
    for session in sessions:
        skill = session.fired.profile.skill
        if session.begin == session.end and not any(
            skill in duty.shift.skills and duty.begin <= session.begin <= duty.end for duty in duties
        ):
            text = say("audit.nobody_skill_there", skill=skill)
            yield Breach("skills", session.fired.firing.id, None, session.begin, text)

    def unserved(stretch: Stretch) -> list[int]:
        asking = [number for number in stretch.active if number < len(sessions)]
        serving = [duties[number - len(sessions)].shift for number in stretch.active if number >= len(sessions)]
        asked = {number: sessions[number].fired.profile.skill for number in asking}
        can = {
            number: [place for place, shift in enumerate(serving) if asked[number] in shift.skills] for number in asking
        }
        return _unmatched(can, [shift.hands for shift in serving])

    spans = [(task.begin, task.end) for task in sessions] + [(duty.begin, duty.end) for duty in duties]
    for run in excesses(sweep(spans), lambda stretch: len(unserved(stretch))):
        left = sessions[unserved(run.worst)[-1]]
        skill = left.fired.profile.skill
        at_once = sum(number < len(sessions) for number in run.worst.active)
        text = say(
            "audit.no_hand_skill",
            skill=skill,
            task=_about(case, left),
            asking=say("audit.session_asks") if at_once == 1 else say("audit.sessions_ask", number=at_once),
        )
        yield Breach("skills", left.fired.firing.id, None, run.worst.begin, text, run.by)


def _unmatched(can: dict[int, list[int]], hands_of: list[int]) -> list[int]:
    """The sessions left over when as many as possible get a hand; ``can`` lists the shifts that may serve each."""
    served_by: dict[int, list[int]] = {shift: [] for shift in range(len(hands_of))}

    def serve(session: int, tried: set[int]) -> bool:
        for shift in can[session]:
            if shift in tried:
                continue
            tried.add(shift)
            if len(served_by[shift]) < hands_of[shift]:
                served_by[shift].append(session)
                return True
            for other in tuple(served_by[shift]):
                if serve(other, tried):
                    served_by[shift].remove(other)
                    served_by[shift].append(session)
                    return True
        return False

    return [session for session in can if not serve(session, set())]


def attendance(case: Case) -> Iterator[Breach]:
    """Somebody is there where the kiln or the house asks for it.

    ``unattended = false``: every minute of ``[start_at, hot_until)`` lies in a shift. ``attend_end``: ``hot_until``
    does, its end included. ``unattended_start = false``: ``start_at`` does.
    """
    for fired in case.fired:
        firing, kiln = fired.firing, fired.kiln
        if not kiln.unattended and fired.heating[0] < fired.heating[1]:
            missing = gap_in(*fired.heating, case.staffed)
            if missing is not None:
                text = say("audit.kiln_may_not", kiln=kiln.id, at=case.when(missing))
                yield Breach("attendance", firing.id, None, missing, text)
        if kiln.attend_end and not fired.is_history(firing.hot_until):
            end = firing.hot_until
            if not any(span.begin <= end <= span.end for span in case.staffed):
                text = say("audit.somebody_must_see", kiln=kiln.id)
                yield Breach("attendance", firing.id, None, end, text)
        if not case.studio.rules.unattended_start and not fired.is_history(firing.start_at):
            start = firing.start_at
            if not any(span.begin <= start < span.end for span in case.staffed):
                yield Breach("attendance", firing.id, None, start, say("audit.nobody_there_when"))


def _about(case: Case, task: Task) -> str:
    kiln = task.fired.kiln.id
    if task.begin == task.end:
        return say("audit.the_of_kiln", task=say(f"audit.task_{task.name}"), kiln=kiln, begin=case.when(task.begin))
    return say(
        "audit.kiln_from",
        task=say(f"audit.task_{task.name}"),
        kiln=kiln,
        begin=case.when(task.begin),
        end=case.when(task.end),
    )
