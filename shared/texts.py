"""Texts that people read, as a key and values: the core says them in English, the edges in the reader's language.

Every English sentence of ``shared`` and ``scheduler`` stands in ``shared/sentences.toml`` and is named by its key,
``say("reason.no_kiln_fires", work="glaze")``. What comes out is text like any other; it also knows what it was made of,
so that it can be said again in another language.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from string import Formatter
from typing import Annotated, Any

import tomli
from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

REMEDY = "_do"
"""What the key of a remedy has at its end; before it stands the key of the problem."""


class Text(str):
    """An English text that knows its key and values; a text without a key is the same in every language."""

    __slots__ = ("key", "values")

    key: str
    values: Mapping[str, object]

    def __new__(cls, english: str, key: str = "", values: Mapping[str, object] | None = None) -> Text:
        text = super().__new__(cls, english)
        text.key, text.values = key, dict(values or {})
        return text

    def __add__(self, more: str) -> Text:
        return say("text.joined", first=self, second=more) if more else self

    def __getnewargs__(self) -> tuple[str, str, Mapping[str, object]]:  # type: ignore[override]
        return str(self), self.key, self.values


def _as_text(value: str) -> Text:
    return value if isinstance(value, Text) else Text(value.strip())


class _KeepsText:
    """Keeps a text with its key in a record; the library by itself would make plain text of it."""

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_after_validator_function(
            _as_text,
            core_schema.union_schema(
                [core_schema.is_instance_schema(Text), core_schema.str_schema()], mode="left_to_right"
            ),
            serialization=core_schema.plain_serializer_function_ser_schema(str, when_used="json"),
        )

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"type": "string"}


Sentence = Annotated[str, _KeepsText()]
"""A field of a record that holds a text."""


@dataclass(frozen=True, slots=True)
class Language:
    """How one language fills values in.

    ``moment``, ``short`` and ``day`` are the ways to write a time: with its year, without it as plans do, and of that
    the day alone; ``both`` and ``either`` are the ends of an enumeration, with ``{first}`` and ``{last}``.
    """

    weekdays: Sequence[str]
    months: Sequence[str]
    decimal: str
    moment: str
    short: str
    day: str
    both: str
    either: str
    template: Callable[[str], str]
    """The template of a key."""


class _Filler(Formatter):
    """Fills values into a template as a language writes them."""

    def __init__(self, language: Language) -> None:
        self.language = language

    def format_field(self, value: object, spec: str) -> str:
        language = self.language
        if isinstance(value, Text):
            words = said(value, language)
            return words if spec != "sentence" or words.endswith((".", "!", "?")) else f"{words}."
        if isinstance(value, tuple | list):
            names = [self.format_field(item, spec if spec in ("short", "weekday") else "") for item in value]
            if len(names) < 2 or spec not in ("and", "or"):
                return ("; " if spec == "also" else ", ").join(names)
            end = language.both if spec == "and" else language.either
            return end.format(first=", ".join(names[:-1]), last=names[-1])
        if isinstance(value, datetime):
            styles = {"": language.moment, "short": language.short, "day": language.day, "weekday": "%a"}
            style = styles[spec]
            # The names are the catalogue's, and not every system's strftime knows a day without its nought.
            style = style.replace("%a", language.weekdays[value.weekday()]).replace("%-d", str(value.day))
            return value.strftime(style.replace("%b", language.months[value.month - 1]))
        if isinstance(value, float):
            return format(value, spec).replace(".", language.decimal)
        return format(value, spec)


def filled(template: str, values: Mapping[str, object], language: Language) -> str:
    """A template with its values, as a language writes them."""
    return _Filler(language).vformat(template, (), values)


def said(text: str, language: Language) -> str:
    """A text in a language; one without a key, or stored by another version of this program, as it is."""
    if not isinstance(text, Text) or not text.key:
        return str(text)
    try:
        return filled(language.template(text.key), text.values, language)
    except (LookupError, ValueError, TypeError):
        return str(text)


@cache
def sentences() -> Mapping[str, str]:
    """The English templates of the core, by key."""
    table = tomli.loads(files("shared").joinpath("sentences.toml").read_text(encoding="utf-8"))
    return {f"{group}.{name}": text for group, texts in table.items() for name, text in texts.items()}


ENGLISH = Language(
    weekdays=("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"),
    months=("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"),
    decimal=".",
    moment="%a %-d %b %Y %H:%M",
    short="%a %-d %b %H:%M",
    day="%a %-d %b",
    both="{first} and {last}",
    either="{first} or {last}",
    template=lambda key: sentences()[key],
)


def say(key: str, /, **values: object) -> Text:
    """A text of the core.

    >>> say("reason.no_kiln_fires", work="glaze")
    'no kiln fires glaze'
    """
    return Text(filled(sentences()[key], values, ENGLISH), key, values)


def said_by(error: BaseException) -> Text:
    """What an error of ours says, with its key."""
    said_first = error.args[0] if error.args else ""
    return said_first if isinstance(said_first, Text) else Text(str(error))


def refusal(kind: str, /, **values: object) -> PydanticCustomError:
    """An error that a record raises, from the texts ``record.<kind>`` and, for the remedy, ``record.<kind>_do``."""
    problem, remedy = refused(kind, {"said": values})
    message = f"{problem}; {remedy}" if remedy else str(problem)
    # The library would fill in braces itself; so the whole message is one value.
    return PydanticCustomError(kind, "{message}", {"message": message, "said": values})


def refused(kind: str, context: Mapping[str, Any], told: Callable[[str], str] = str) -> tuple[Text, Text | None]:
    """Problem and remedy of such an error; the keys of a table that they name are ``told``."""
    values = context.get("said") or {}
    template = sentences()[f"record.{kind}"]
    keys = {name: told(name) for _, name, _, _ in Formatter().parse(template) if name and name not in values}
    remedy = f"record.{kind}{REMEDY}"
    return say(f"record.{kind}", **keys, **values), say(remedy, **values) if remedy in sentences() else None


def packed(text: str) -> str:
    """A text as one line of JSON, where it has a key; else as it is."""
    if not isinstance(text, Text) or not text.key:
        return str(text)
    return json.dumps(document(text), ensure_ascii=False)


def unpacked(line: str) -> Text:
    """The text that was packed; one that never was is as it is."""
    if line.startswith('{"text": '):
        try:
            return from_document(json.loads(line))
        except (ValueError, KeyError, TypeError, AttributeError):
            return Text(line)
    return Text(line)


def document(text: str) -> Any:
    """A text as plain data; the English beside it makes it readable by other programs."""
    if not isinstance(text, Text) or not text.key:
        return str(text)
    return {"text": str(text), "key": text.key, "values": {name: _plain(value) for name, value in text.values.items()}}


def from_document(data: Any) -> Text:
    """The text of plain data."""
    if isinstance(data, str):
        return Text(data)
    return Text(str(data["text"]), str(data["key"]), {str(k): _value(v) for k, v in data["values"].items()})


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return {"time": value.isoformat()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, str):
        return document(value)
    return value if isinstance(value, int | float) else str(value)


def _value(data: Any) -> object:
    if isinstance(data, list):
        return tuple(_value(item) for item in data)
    if isinstance(data, dict):
        return datetime.fromisoformat(data["time"]) if "time" in data else from_document(data)
    return data
