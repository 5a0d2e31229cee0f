"""The studio's shifts as a list and a form."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from api import studio_parts
from api.formats import Formats
from api.pages.forms import Form
from api.pages.page import Page
from api.security import Identity
from api.service import Service
from api.words import Words, tell
from shared.clock import WEEKDAYS, local_time, minute_of
from shared.errors import Fault, FolderError

NAMES = ("on", "from", "to", "hands", "skills", "who")


def shift_form(page: Page, asked: Mapping[str, str], form: Form | None = None) -> dict[str, Any]:
    """What the page of shifts shows: all of them, and the form, as it was sent or as an address asks for it."""
    values = {name: "" if form is None else form(name) for name in NAMES}
    values["hands"] = values["hands"] or "1"
    days = () if form is None else form.every("days")
    begins, ends = _moment(asked.get("from", "")), _moment(asked.get("to", ""))
    if begins is not None and ends is not None:
        zone = page.studio.place.zone
        first, last = (local_time(minute_of(at), zone) for at in (begins, ends))
        values |= {"on": f"{first:%Y-%m-%d}", "from": f"{first:%H:%M}", "to": f"{last:%H:%M}"}
        values |= {"skills": asked.get("skills", ""), "hands": asked.get("hands") or values["hands"]}
    names = dict(zip(WEEKDAYS, page.words.each("calendar.weekdays"), strict=True))
    rows = []
    for part in sorted(studio_parts.parts(page.service, "shifts"), key=_in_time):
        body = part["body"]
        rows.append(
            {
                "key": part["key"],
                "version": part["version"],
                "days": _when(body, names, page.formats),
                "time": f"{body['from']}–{body['to']}",
                "hands": body.get("hands", 1),
                "skills": ", ".join(body.get("skills", ())),
                "who": body.get("who") or "",
            }
        )
    skills = sorted({profile.skill for profile in page.studio.profiles if profile.skill is not None})
    return {"rows": rows, "values": values, "days": days, "weekdays": list(names.items()), "known": skills}


def add_shift(service: Service, who: Identity, form: Form) -> None:
    """Add the shift that a form describes.

    Raises
    ------
    FolderError
        With all that stands against it.
    """
    hands = form("hands") or "1"
    body: dict[str, Any] = {
        "days": list(form.every("days")),
        "on": form("on") or None,
        "from": form("from"),
        "to": form("to"),
        "hands": int(hands) if hands.isdigit() else hands,
        "skills": [skill.strip() for skill in form("skills").split(",") if skill.strip()],
    }
    if form("who"):
        body["who"] = form("who")
    faults = []
    if bool(body["days"]) == bool(body["on"]):
        faults.append(Fault("form", "days", tell("refused.shift_when"), tell("refused.shift_when_do")))
    if not hands.isdigit():
        faults.append(Fault("form", "hands", tell("refused.no_hands", text=repr(hands)), tell("refused.hands_do")))
    try:
        studio_parts.add(service, who, "shifts", body)
    except FolderError as error:
        # What is wrong with these two is said in the words of the form rather than in those of a file.
        said = ["", *(fault.place for fault in faults)] if faults else []
        raise FolderError([*faults, *(fault for fault in error.faults if fault.place not in said)]) from None


def shift_labels(words: Words) -> dict[str, str]:
    """What the fields of the form are called."""
    return {
        "days": words("what_if.days"),
        "on": words("shift.on"),
        "from": words("what_if.from"),
        "to": words("what_if.to"),
        "hands": words("what_if.hands"),
        "skills": words("shift.skills"),
        "who": words("overview.who"),
    }


def remove_shift(service: Service, who: Identity, key: str, version: int) -> None:
    """Remove a shift."""
    studio_parts.remove(service, who, "shifts", key, version)


def _in_time(part: Mapping[str, Any]) -> tuple[bool, str, int, str]:
    """Those of every week first, by their first day and when they begin; then those of one date."""
    body = part["body"]
    first = min((WEEKDAYS.index(day) for day in body.get("days") or ()), default=0)
    return bool(body.get("on")), str(body.get("on") or ""), first, str(body["from"])


def _when(body: Mapping[str, Any], names: Mapping[str, str], formats: Formats) -> str:
    """The days of the week on which a shift comes, or its date."""
    if body.get("on"):
        return formats.long_day(date.fromisoformat(str(body["on"])))
    return ", ".join(names[day] for day in body.get("days", ()))


def _moment(text: str) -> datetime | None:
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo is not None else None
