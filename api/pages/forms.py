"""What a form says, as plain text by field; and times as browsers write them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated

from fastapi import Depends, Request
from pydantic_core import PydanticCustomError
from starlette.datastructures import FormData

from api.problems import ProblemError
from api.words import tell
from shared.clock import Minute, local_time, read_moment
from shared.studio import Studio

LONGEST_FIELD = 4000
"""Longest text of one field [letters]; house choice, four times the longest note."""


class Form:
    """The fields of a form; a field that is not there is empty."""

    def __init__(self, fields: Mapping[str, Sequence[str]]) -> None:
        self._fields = {
            name: [value.replace("\x00", "").strip() for value in values] for name, values in fields.items()
        }

    def __call__(self, name: str) -> str:
        """One field's text."""
        values = self._fields.get(name)
        return values[0] if values else ""

    def every(self, name: str) -> tuple[str, ...]:
        """All texts of a field that stands several times, as ticked boxes do."""
        return tuple(value for value in self._fields.get(name, ()) if value)

    def whole(self, name: str) -> int:
        """A whole number.

        Raises
        ------
        ProblemError
            If it is none.
        """
        text = self(name)
        if not text.isdigit() or len(text) > 9:
            raise ProblemError(422, tell("refused.no_whole_number", name=name), name="faults")
        return int(text)

    def moment(self, name: str, studio: Studio) -> Minute | None:
        """A time on the studio's wall clock; None where nothing was said.

        Raises
        ------
        ProblemError
            If it is none.
        """
        if not self(name):
            return None
        try:
            return read_moment(self(name), studio.place.zone)
        except PydanticCustomError as error:
            raise ProblemError(422, f"{name}: {self(name)!r} {error.message()}", name="faults") from None


async def form_of(request: Request) -> Form:
    """The form that was sent."""
    sent: FormData = await request.form(max_files=0, max_fields=500)
    fields: dict[str, list[str]] = {}
    for name, value in sent.multi_items():
        if isinstance(value, str):
            fields.setdefault(name, []).append(value[:LONGEST_FIELD])
    return Form(fields)


FormDep = Annotated[Form, Depends(form_of)]


def field_time(minute: Minute | None, studio: Studio) -> str:
    """A time as a browser's field for times takes it."""
    return "" if minute is None else f"{local_time(minute, studio.place.zone):%Y-%m-%dT%H:%M}"
