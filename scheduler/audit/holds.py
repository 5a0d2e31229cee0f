"""Whether a plan keeps what people have fixed, or says why it does not."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from scheduler.audit.breach import Breach, when
from shared.plans import Firing, Plan
from shared.studio import Studio
from shared.texts import say


def holds_kept(studio: Studio, plan: Plan, asked: Sequence[Firing]) -> Iterator[Breach]:
    """Each held firing is in the plan with the same kiln, times and loads, and marked; or the plan says why not.

    Parameters
    ----------
    studio
        The studio, for its time zone.
    plan
        The new plan.
    asked
        The firings that were to stay as they are.
    """
    marked = {firing.id: firing for firing in plan.firings if firing.held}
    notes = {note.firing: note for note in plan.hold_notes}
    for held in asked:
        note = notes.get(held.id)
        if note is not None and not note.kept:
            continue
        firing = marked.get(held.id)
        if firing is None:
            yield Breach("holds", held.id, None, held.load_at, say("audit.was_held_plan"))
            continue
        if firing.kiln != held.kiln:
            yield Breach("holds", held.id, None, None, say("audit.was_held_kiln", held=held.kiln, kiln=firing.kiln))
        for name in ("load_at", "start_at", "unload_at"):
            at, was = getattr(firing, name), getattr(held, name)
            if at != was:
                text = say("audit.was_held_at", name=name, at=when(was, studio.place.zone))
                yield Breach("holds", held.id, None, at, text, float(abs(at - was)))
        missing = set(held.loads) - set(firing.loads)
        if set(firing.loads) - set(held.loads) or (missing and note is None):
            text = say("audit.was_held_loads", held=tuple(held.loads), loads=tuple(firing.loads))
            yield Breach("holds", held.id, None, None, text)
