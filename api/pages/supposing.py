"""What a what-if's form supposes, as changes of the studio."""

from __future__ import annotations

from typing import Any

from api.pages.forms import Form
from api.pages.supposed_tariff import supposed_tariff
from api.problems import ProblemError
from api.what_ifs import Supposed
from api.wire import said
from api.words import Words, tell
from shared.clock import WEEKDAYS, iso_text
from shared.studio import Shift, Studio


def supposed(form: Form, studio: Studio, words: Words) -> Supposed:
    """The changes that a form asks to try.

    Raises
    ------
    ProblemError
        If the form names something that is not there, or lacks what it needs.
    FolderError
        With every fault of a tariff.
    """
    asked = form("try")
    if asked == "hands":
        more = [
            said(shift, studio.place) | {"hands": 1, "who": words("what_if.one_more")}
            for shift in _shifts(form, studio)
        ]
        return Supposed(set=tuple(("shifts", shift) for shift in more))
    if asked == "hours":
        return Supposed(set=(("shifts", _shift(form)),))
    if asked == "kiln":
        return Supposed(set=(("kilns", _twin(form("kiln"), studio)),))
    if asked == "out":
        return Supposed(set=(("outages", _outage(form, studio, words)),))
    if asked == "current":
        return Supposed(set=(("circuits", _circuit(form, studio)),))
    if asked == "tariff":
        return Supposed(set=(("tariff", supposed_tariff(form, studio)),))
    if asked == "cancel":
        names = tuple(form("loads").replace(",", " ").split())
        if not names:
            raise ProblemError(422, tell("refused.name_least_one"), name="faults")
        return Supposed(cancel=names)
    raise ProblemError(422, tell("refused.choose_what_to"), name="faults")


def _shifts(form: Form, studio: Studio) -> list[Shift]:
    """The shifts to which one more person comes: every one, or those on some days, or one of them.

    A shift of several days is narrowed to the days that are chosen.
    """
    chosen, days = form("shift"), form.every("days")
    found = list(studio.shifts)
    if chosen:
        if not chosen.isdigit() or int(chosen) >= len(found):
            raise ProblemError(422, tell("refused.no_such_shift"), name="faults")
        found = [found[int(chosen)]]
    if not days:
        return found
    narrowed = []
    for shift in found:
        if shift.on is not None:
            narrowed += [shift] if WEEKDAYS[shift.on.weekday()] in days else []
        elif on := tuple(day for day in shift.days if day in days):
            narrowed.append(shift.model_copy(update={"days": on}))
    if not narrowed:
        raise ProblemError(422, tell("refused.no_shift_then"), name="faults")
    return narrowed


def _shift(form: Form) -> dict[str, Any]:
    days = form.every("days")
    if not days or not form("from") or not form("to"):
        raise ProblemError(422, tell("refused.shift_needs_least"), name="faults")
    hands = form.whole("hands", tell("refused.hands_whole")) if form("hands") else 1
    return {"days": list(days), "from": form("from"), "to": form("to"), "hands": hands}


def _twin(kiln_id: str, studio: Studio) -> dict[str, Any]:
    if kiln_id not in studio.kiln_by_id:
        raise ProblemError(422, tell("refused.there_no_kiln", kiln=repr(kiln_id)), name="faults")
    names = set(studio.kiln_by_id)
    new = next(f"{kiln_id}-{number}" for number in range(2, 100) if f"{kiln_id}-{number}" not in names)
    return said(studio.kiln_by_id[kiln_id], studio.place) | {"id": new}


def _outage(form: Form, studio: Studio, words: Words) -> dict[str, Any]:
    begins, ends = form.moment("begins", studio), form.moment("ends", studio)
    if form("kiln") not in studio.kiln_by_id or begins is None:
        raise ProblemError(422, tell("refused.choose_kiln_say"), name="faults")
    outage = {"kiln": form("kiln"), "from": iso_text(begins, studio.place.zone), "reason": words("what_if.supposed")}
    return outage if ends is None else outage | {"to": iso_text(ends, studio.place.zone)}


def _circuit(form: Form, studio: Studio) -> dict[str, Any]:
    circuit = form("circuit")
    if circuit not in studio.circuit_by_id:
        raise ProblemError(422, tell("refused.there_no_circuit", circuit=repr(circuit)), name="faults")
    amps = form.number("amps", tell("refused.amps_no_number", amps=repr(form("amps"))))
    return said(studio.circuit_by_id[circuit], studio.place) | {"breaker_amps": amps}
