"""What a request says has happened, as the re-planner's events."""

from __future__ import annotations

from datetime import datetime

from api.problems import ProblemError
from api.routes.shapes import ReplanAsked
from api.words import tell
from scheduler.planning.events import Away, CircuitDown, Events, FiringLate, KilnDown
from shared.clock import Minute, minute_of
from shared.units import minute_of_day


def events_of(body: ReplanAsked) -> Events:
    """The events that a request names."""
    return Events(
        down=tuple(KilnDown(item.kiln, _until(item.until)) for item in body.kilns_down),
        circuits_down=tuple(CircuitDown(item.circuit, _until(item.until)) for item in body.circuits_down),
        late=tuple(FiringLate(item.firing, item.hours) for item in body.late),
        absent=tuple(Away(item.on, None if item.opens is None else minute_of_day(item.opens)) for item in body.away),
        outcomes=dict(body.outcomes),
    )


def instant(moment: datetime) -> datetime:
    """A moment that says its offset.

    Raises
    ------
    ProblemError
        If it does not, or is centuries away.
    """
    if moment.tzinfo is None:
        raise ProblemError(422, tell("refused.time_no_offset"), name="faults")
    if not 1990 <= moment.year <= 2200:
        raise ProblemError(422, tell("refused.time_far_from"), name="faults")
    return moment


def _until(moment: datetime | None) -> Minute | None:
    return None if moment is None else minute_of(instant(moment))
