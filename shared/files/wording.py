"""What validation finds wrong, in the studio's words.

The words are chosen by the error's *type*; the texts of the validation library never reach a person.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any, get_args

from pydantic_core import ErrorDetails, core_schema

from shared.files.values import Odd, listing, nearest, shown
from shared.texts import Text, refused, say

if TYPE_CHECKING:
    from shared.record import Record

Words = tuple[str, str]
"""Problem and remedy."""


def keys_of(model: type[Record]) -> tuple[str, ...]:
    """The keys that a table of ``model`` may have in a file."""
    return tuple(field.alias or name for name, field in model.model_fields.items())


def plain_words(
    error: ErrorDetails, example: str, known_keys: Iterable[str] = (), write: str = "fault.write_for_example"
) -> Words:
    """Problem and remedy of one validation error.

    Parameters
    ----------
    error
        As the validation library reports it.
    example
        What would be right at that key; may be empty.
    known_keys
        The keys of the table that the error lies in, for a key that is not one of them.
    write
        The text that the example is put into.
    """
    kind, value = error["type"], error["input"]
    context: Mapping[str, Any] = error.get("ctx") or {}
    right = say(write, example=example) if example else say("fault.see_description_studio")
    if kind == "extra_forbidden":
        return unknown_key(str(error["loc"][-1]), known_keys)
    if kind == "missing":
        return say("fault.is_missing"), right
    if kind == "literal_error":
        return _not_one_of(value, str(context.get("expected", "")))
    limit = _LIMITS.get(kind)
    if limit is not None:
        problem, remedy = limit
        amount = context.get(_LIMIT_KEYS.get(kind, ""), "")
        return _of_value(value, problem), say(remedy, amount=_amount(amount))
    if kind in _WRONG_KIND:
        return _WRONG_KIND[kind](value, right)
    if kind not in _LIBRARY_KINDS:
        return _our_own(error, right if example else say("fault.put_it_right"))
    return say("fault.cannot_be_used", value=shown(value)), right


def unknown_key(key: str, known_keys: Iterable[str], what: str = "key") -> Words:
    """Problem and remedy of a key, or column, that the contract does not have."""
    known = list(known_keys)
    meant = nearest(key, known)
    problem = say("fault.is_not_a_here", key=shown(key), what=say(f"noun.{what}"))
    if meant is not None:
        return problem, say("fault.did_you_mean", meant=meant)
    return problem, say("fault.remove_write_one", known=listing(known))


def unknown_id(
    value: str, what: str, known: Iterable[str], where: str, names: Mapping[str, str] | None = None
) -> Words:
    """Problem and remedy of a reference that leads nowhere; ``names`` are what things are called, with their ids."""
    ids = list(known)
    named = nearest(value, names or {})
    if named is not None and names is not None:
        problem = say("fault.there_is_no", what=say(f"noun.{what}"), value=shown(value))
        return problem, say("fault.has_that_name", name=shown(named), id=names[named])
    meant = nearest(value, ids)
    if meant is not None:
        remedy = say("fault.did_you_mean", meant=meant)
    elif ids:
        remedy = say("fault.write_one_add", ids=listing(ids, most=12), where=where)
    else:
        remedy = say("fault.add_it_to", where=where)
    return say("fault.there_is_no", what=say(f"noun.{what}"), value=shown(value)), remedy


def _amount(amount: object) -> str:
    return f"{amount:.15g}" if isinstance(amount, int | float) else str(amount)


def _not_one_of(value: object, expected: str) -> Words:
    choices = re.findall(r"'([^']*)'|(\d+)", expected)
    words = [text or number for text, number in choices]
    meant = nearest(value, words) if isinstance(value, str) else None
    if meant is not None:
        return say("fault.not_one_choices", value=shown(value)), say("fault.did_you_mean", meant=meant)
    return say("fault.not_one_choices", value=shown(value)), say("fault.write", example=listing(words))


def _our_own(error: ErrorDetails, right: str) -> Words:
    # Our own errors are about the value ("is not a time"), or about keys of a table.
    value = error["input"]
    problem, remedy = refused(error["type"], error.get("ctx") or {}, _with_values(value))
    if problem.startswith("is "):
        return say("fault.of_value", value=shown(value), problem=problem), remedy or right
    return problem, remedy or right


def _with_values(table: object) -> Callable[[str], str]:
    # "to is before from" -> "to (2026-12-24) is before from (2027-01-01)"
    def told(key: str) -> str:
        value = table.get(key) if isinstance(table, dict) else None
        if value is None or isinstance(value, dict | list | Odd):
            return key
        return f"{key} ({shown(value)})"

    return told


def _of_value(value: object, problem: str) -> Text:
    return say("fault.of_value", value=shown(value), problem=say(problem))


def _no_number(value: object, right: str) -> Words:
    if isinstance(value, str) and re.fullmatch(r"\s*-?\d+,\d+\s*", value):
        return say("fault.is_not_a_number", value=shown(value)), say(
            "fault.write_point", value=value.strip().replace(",", ".")
        )
    return say("fault.is_not_a_number", value=shown(value)), right


def _no_whole_number(value: object, right: str) -> Words:
    if isinstance(value, str) and re.fullmatch(r"\s*-?\d+\.\d+\s*", value):
        return _of_value(value, "fault.not_whole_number"), right
    return _no_number(value, right)


def _no_text(value: object, right: str) -> Words:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return say("fault.is_not_text", value=shown(value)), say("fault.put_it_in", value=shown(value))
    return say("fault.is_not_text", value=shown(value)), right


def _said(problem: str) -> Callable[[object, str], Words]:
    return lambda value, right: (_of_value(value, problem), right)


_WRONG_KIND: dict[str, Callable[[object, str], Words]] = {
    "string_type": _no_text,
    "string_unicode": _said("fault.holds_letters_that"),
    "string_pattern_mismatch": lambda value, right: (
        say("fault.cannot_be_an", value=shown(value)),
        say("fault.write_short_text"),
    ),
    "float_type": _no_number,
    "float_parsing": _no_number,
    "int_type": _no_number,
    "int_parsing": _no_whole_number,
    "number": _no_number,
    "int_from_float": _said("fault.not_whole_number"),
    "int_parsing_size": _said("fault.too_large_number"),
    "finite_number": _said("fault.not_finite_number"),
    "bool_type": _said("fault.neither_true_nor"),
    "bool_parsing": _said("fault.neither_true_nor"),
    "tuple_type": _said("fault.is_not_a_list"),
    "list_type": _said("fault.is_not_a_list"),
    "model_type": _said("fault.is_not_a_table_2"),
    "model_attributes_type": _said("fault.is_not_a_table_2"),
    "dict_type": _said("fault.is_not_a_table_2"),
    "date_type": _said("fault.is_not_a_date"),
    "date_parsing": _said("fault.is_not_a_date"),
    "date_from_datetime_parsing": _said("fault.is_not_a_date"),
    "date_from_datetime_inexact": _said("fault.time_where_whole"),
}

_LIMIT_KEYS = {
    "greater_than": "gt",
    "greater_than_equal": "ge",
    "less_than": "lt",
    "less_than_equal": "le",
    "too_short": "min_length",
    "too_long": "max_length",
    "string_too_long": "max_length",
}

_LIMITS: dict[str, tuple[str, str]] = {
    "greater_than": ("fault.is_too_small", "fault.write_a_number"),
    "greater_than_equal": ("fault.is_too_small", "fault.write_or_more"),
    "less_than": ("fault.is_too_large", "fault.write_a_number_below"),
    "less_than_equal": ("fault.is_too_large", "fault.write_or_less"),
    "too_short": ("fault.is_too_short", "fault.write_list_least"),
    "too_long": ("fault.is_too_long", "fault.write_list_most"),
    "string_too_short": ("fault.is_empty", "fault.write_text_leave"),
    "string_too_long": ("fault.is_too_long", "fault.write_at_most"),
}

_LIBRARY_KINDS = frozenset(get_args(core_schema.ErrorType))
"""The validation library's own error types; every other one is raised, and worded, by the records of ``shared``."""
