"""What a form says, as plain text by field; numbers in the reader's language; and times as browsers write them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Annotated

from fastapi import Depends, Request
from pydantic_core import PydanticCustomError
from starlette.datastructures import FormData

from api.pages.page import language_of
from api.problems import ProblemError
from api.words import read_words, tell
from shared.clock import Minute, local_time, read_moment
from shared.studio import Studio
from shared.texts import Text

LONGEST_FIELD = 4000
"""Longest text of one field [letters]; house choice, four times the longest note."""


_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?")
_LIKE_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}([.,])[0-9]{3}")
_SPACES = re.compile(r"\s")


class TwoWaysError(ValueError):
    """A number that people of different languages read differently."""


def read_number(text: str, decimal: str) -> float:
    """The number that somebody typed; decimals follow a point or a comma, whatever the language.

    Only where the mark that is not the language's own stands as it does before thousands, ``1.200`` in German, nothing
    is guessed: a thousandfold load would be planned, or a thousandth.

    Parameters
    ----------
    text
        What was typed.
    decimal
        The decimal mark of the reader's language.

    Raises
    ------
    TwoWaysError
        If it can be read as two numbers.
    ValueError
        If it is no number.

    >>> read_number("1,5", ","), read_number("1.5", ","), read_number("1 200", ",")
    (1.5, 1.5, 1200.0)
    """
    plain = _SPACES.sub("", text)
    like_thousands = _LIKE_THOUSANDS.fullmatch(plain)
    if like_thousands and like_thousands[1] != decimal:
        raise TwoWaysError(text)
    if not _NUMBER.fullmatch(plain):
        raise ValueError(text)
    return float(plain.replace(",", "."))


def field_number(value: float, decimal: str) -> str:
    """A number as a form shows it, so that it is read back as the same.

    >>> field_number(1.125, ","), field_number(1200.0, ",")
    ('1,125', '1200')
    """
    return f"{value:.12g}".replace(".", decimal)


def field_query(text: str, decimal: str) -> str:
    """A number of an address, which has a point, as a form shows it; what is no number as it is."""
    try:
        return field_number(float(text), decimal)
    except ValueError:
        return text


def two_ways(text: str) -> tuple[Text, Text]:
    """What is wrong with a number that can be read in two ways, and what would be right."""
    plain = _SPACES.sub("", text)
    whole, part = int(re.sub("[.,]", "", plain)), float(plain.replace(",", "."))
    return tell("refused.two_numbers", text=repr(text)), tell("refused.two_numbers_do", whole=whole, part=part)


class Form:
    """The fields of a form; a field that is not there is empty.

    ``decimal`` is the decimal mark of the language that the form was shown in.
    """

    def __init__(self, fields: Mapping[str, Sequence[str]], decimal: str = ".") -> None:
        self.decimal = decimal
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

    def whole(self, name: str, otherwise: Text | None = None) -> int:
        """A whole number.

        Raises
        ------
        ProblemError
            If it is none, telling ``otherwise``; without that it is one that a page itself had filled in.
        """
        text = self(name)
        if not text.isdigit() or len(text) > 9:
            raise ProblemError(422, otherwise or tell("refused.no_whole_number", name=name), name="faults")
        return int(text)

    def number(self, name: str, otherwise: Text) -> float:
        """A number, as people of the form's language write it.

        Raises
        ------
        ProblemError
            If it is none, telling ``otherwise``; or if it can be read as two.
        """
        try:
            return read_number(self(name), self.decimal)
        except TwoWaysError:
            problem, remedy = two_ways(self(name))
            raise ProblemError(422, tell("refused.and_so", problem=problem, remedy=remedy), name="faults") from None
        except ValueError:
            raise ProblemError(422, otherwise, name="faults") from None

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
        except PydanticCustomError:
            raise ProblemError(422, tell("refused.no_moment", text=repr(self(name))), name="faults") from None


async def form_of(request: Request) -> Form:
    """The form that was sent."""
    sent: FormData = await request.form(max_files=0, max_fields=500)
    fields: dict[str, list[str]] = {}
    for name, value in sent.multi_items():
        if isinstance(value, str):
            fields.setdefault(name, []).append(value[:LONGEST_FIELD])
    return Form(fields, read_words(language_of(request))("number.decimal"))


FormDep = Annotated[Form, Depends(form_of)]


def field_time(minute: Minute | None, studio: Studio) -> str:
    """A time as a browser's field for times takes it."""
    return "" if minute is None else f"{local_time(minute, studio.place.zone):%Y-%m-%dT%H:%M}"
