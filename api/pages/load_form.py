"""The booking form: its fields, and what they mean as a load."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from api.pages.forms import Form, TwoWaysError, field_number, read_number, two_ways
from api.words import Words
from shared.errors import Fault
from shared.profiles import SizeColumn
from shared.studio import Studio

NUMBERS = ("pieces", "footprint_cm2", "height_mm", "mass_kg", "thickness_mm", "diameter_mm", "max_temperature",
           "priority")  # fmt: skip
EACH = ("each_width", "each_depth", "each_diameter")
"""What one piece takes on the shelf, to work the area of all out; no part of a load."""
DURATIONS = ("gap_hours", "session_hours")
TEXTS = ("profile", "family", "ready", "promised", "after", "session_at", "note")
STAFF_TEXTS = ("owner", "stream")


@dataclass(frozen=True, slots=True)
class Field:
    """One field of the form; ``staff`` for those that members do not see, ``more`` for those folded away."""

    name: str
    label: str
    hint: str
    type: str
    required: bool
    staff: bool
    more: bool
    mode: str
    sizes: tuple[str, ...] = ()
    """Profiles whose firing depends on it, so that it is needed for them."""
    known: tuple[str, ...] = ()
    """What it is usually filled in with, offered for choice."""


def fields(words: Words, studio: Studio, staff: bool, families: Sequence[str] = ()) -> tuple[Field, ...]:
    """The form's fields in their order; the profile and the person are chosen from lists of their own.

    What a load should be out by is the studio's promise where the staff say it, and a member's wish.
    """

    def number(name: str, label: str, hint: str = "", required: bool = False, more: bool = False) -> Field:
        return Field(name, label, hint, "text", required, False, more, "decimal")

    def time(name: str, label: str, hint: str, more: bool = False) -> Field:
        return Field(name, label, hint, "datetime-local", False, False, more, "")

    def size(name: SizeColumn, label: str) -> Field:
        sized = [profile for profile in studio.profiles if profile.sized_by == name]
        titles = "; ".join(profile.title for profile in sized)
        hint = words("book.sized_hint", profiles=titles) if sized else words("book.unsized_hint")
        return replace(number(name, label, hint, more=not sized), sizes=tuple(profile.id for profile in sized))

    unit = studio.place.temperature
    label, hint = ("book.promised", "book.promised_hint") if staff else ("book.wished", "book.wished_hint")
    every = (
        Field("owner", words("book.owner"), words("book.owner_hint"), "text", False, True, False, ""),
        number("pieces", words("book.pieces"), required=True),
        number("footprint_cm2", words("book.footprint"), words("book.footprint_hint"), required=True),
        number("height_mm", words("book.height"), words("book.height_hint"), required=True),
        number("mass_kg", words("book.mass"), words("book.mass_hint"), required=True),
        Field("family", words("book.family"), words("book.family_hint"), "text", False, False, False, "",
              known=tuple(families)),
        size("thickness_mm", words("book.thickness")),
        size("diameter_mm", words("book.diameter")),
        time("promised", words(label), words(hint)),
        time("ready", words("book.ready"), words("book.ready_hint")),
        Field("note", words("sheet.note"), words("book.note_hint"), "text", False, False, False, ""),
        number("max_temperature", words("book.stands", unit=unit), words("book.stands_hint"), more=True),
        Field("after", words("book.after"), words("book.after_hint"), "text", False, False, True, ""),
        Field("gap_hours", words("book.gap"), words("book.gap_hint"), "text", False, False, True, ""),
        time("session_at", words("book.session_at"), words("book.session_hint"), more=True),
        Field("session_hours", words("book.session_hours"), words("book.length_hint"), "text", False, False, True, ""),
        Field("priority", words("book.priority"), words("book.priority_hint"), "text", False, True, True, "numeric"),
    )  # fmt: skip
    return tuple(one for one in every if staff or not one.staff)


def each_labels(words: Words) -> dict[str, str]:
    """What the measures of one piece are called."""
    keys = ("book.each_width", "book.each_depth", "book.each_diameter")
    return {name: words(key) for name, key in zip(EACH, keys, strict=True)}


def body_of(form: Form, staff: bool, person: bool) -> tuple[dict[str, Any], list[Fault]]:
    """The load that a filled form means, as the service reads loads; what was left empty is not said.

    Numbers that are none stay text, so that the service's own fault tells what is wrong with them; for those that can
    be read in two ways it is told here, and they are left out.
    """
    body: dict[str, Any] = {}
    faults = []
    for name in (*NUMBERS, *DURATIONS, *EACH):
        text = form(name)
        if text and (staff or name != "priority"):
            try:
                body[name] = _whole(read_number(text, form.decimal))
            except TwoWaysError:
                faults.append(Fault("form", name, *two_ways(text)))
            except ValueError:
                body[name] = text
    _work_out_area(body, form("each_unit") == "cm")
    for name in TEXTS:
        if form(name):
            body[name] = form(name)
    if form("alone"):
        body["alone"] = True
    if staff:
        for name in STAFF_TEXTS:
            if form(name) and not (name == "owner" and person):
                body[name] = form(name)
        kilns = form.every("kilns")
        if kilns:
            body["kilns"] = list(kilns)
    return body, faults


def _work_out_area(body: dict[str, Any], centimetres: bool) -> None:
    """The shelf area of all pieces from the measures of one, where it is not said: a round one takes its square."""
    width, depth, round_mm = (body.pop(name, None) for name in EACH)
    sides = (round_mm, round_mm) if round_mm is not None else (width, depth)
    pieces = body.get("pieces", 1)
    if "footprint_cm2" not in body and all(isinstance(one, int | float) for one in (*sides, pieces)):
        body["footprint_cm2"] = _whole(round(sides[0] * sides[1] * pieces / (1 if centimetres else 100), 1))


def values_of(load: Mapping[str, Any], decimal: str) -> dict[str, str]:
    """A load as the form shows it, in a language with this decimal mark."""
    values = {}
    for name, value in load.items():
        if isinstance(value, bool):
            values[name] = "1" if value else ""
        elif isinstance(value, float):
            values[name] = field_number(value, decimal)
        elif isinstance(value, list):
            continue
        else:
            text = str(value)
            values[name] = text[:16] if name in ("ready", "promised", "session_at") else text
    return values


def _whole(value: float) -> int | float:
    return int(value) if value.is_integer() and abs(value) < 1e9 else value
