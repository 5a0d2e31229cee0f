"""Rules about what comes before what."""

from __future__ import annotations

from collections.abc import Iterator

from scheduler.audit.breach import Breach
from scheduler.audit.case import Case, whole
from shared.texts import say


def ready(case: Case) -> Iterator[Breach]:
    """No load goes into a kiln before it is ready: ``ready <= load_at``."""
    for fired in case.fired:
        load_at = fired.firing.load_at
        for load in fired.loads:
            if load.ready is not None and load_at < load.ready and not fired.is_history(load_at):
                early = load.ready - load_at
                text = say("audit.loading_begins_min_before_load", early=early, ready=case.when(load.ready))
                yield Breach("ready", fired.firing.id, load.id, load_at, text, float(early))


def after_gap(case: Case) -> Iterator[Breach]:
    """A later stage waits for the earlier and its gap: ``out_at(earlier) + gap <= load_at``; unplaced, both are.

    An earlier stage that waits no more has been fired before this plan; the load's ``ready`` speaks for it.
    """
    for fired in case.fired:
        load_at = fired.firing.load_at
        for load in fired.loads:
            if load.after is None or load.after not in case.loads or fired.is_history(load_at):
                continue
            earlier = case.fired_with.get(load.after)
            if earlier is None:
                text = say("audit.load_fired_but", after=load.after)
                yield Breach("after_gap", fired.firing.id, load.id, load_at, text)
                continue
            early = earlier.firing.out_at + whole(load.gap_minutes) - load_at
            if early > 0:
                text = say(
                    "audit.loading_begins_min_too",
                    early=early,
                    after=load.after,
                    out_at=case.when(earlier.firing.out_at),
                    gap=load.gap_minutes,
                )
                yield Breach("after_gap", fired.firing.id, load.id, load_at, text, float(early))


def session_at(case: Case) -> Iterator[Breach]:
    """A booked session begins when it is booked: ``unload_at = session_at``."""
    for fired in case.fired:
        unload_at = fired.firing.unload_at
        for load in fired.loads:
            if load.session_at is not None and unload_at != load.session_at:
                text = say("audit.session_booked", session_at=case.when(load.session_at))
                yield Breach(
                    "session_at", fired.firing.id, load.id, unload_at, text, float(abs(unload_at - load.session_at))
                )


def load_order(case: Case) -> Iterator[Breach]:
    """A kiln is loaded before it starts and safe before it is opened.

    ``load_at + load_minutes <= start_at`` and ``safe_at <= unload_at``.
    """
    for fired in case.fired:
        firing = fired.firing
        late = fired.loading[1] - firing.start_at
        if late > 0:
            text = say("audit.firing_starts_min", late=late, kiln=fired.kiln.id)
            yield Breach("load_order", firing.id, None, firing.start_at, text, float(late))
        early = firing.safe_at - firing.unload_at
        if early > 0:
            what = say("audit.the_session_begins") if fired.hot_unload else say("audit.the_kiln_is")
            text = say("audit.min_before_safe", what=what, early=early, safe_at=case.when(firing.safe_at))
            yield Breach("load_order", firing.id, None, firing.unload_at, text, float(early))
