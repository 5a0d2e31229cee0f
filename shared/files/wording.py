"""What validation finds wrong, in the studio's words.

The words are chosen by the error's *type*; the texts of the validation library never reach a person.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any, get_args

from pydantic_core import ErrorDetails, core_schema

from shared.files.values import Odd, listing, nearest, shown

if TYPE_CHECKING:
    from shared.record import Record

Words = tuple[str, str]
"""Problem and remedy."""


def keys_of(model: type[Record]) -> tuple[str, ...]:
    """The keys that a table of ``model`` may have in a file."""
    return tuple(field.alias or name for name, field in model.model_fields.items())


def plain_words(error: ErrorDetails, example: str, known_keys: Iterable[str] = ()) -> Words:
    """Problem and remedy of one validation error.

    Parameters
    ----------
    error
        As the validation library reports it.
    example
        What would be right at that key; may be empty.
    known_keys
        The keys of the table that the error lies in, for a key that is not one of them.
    """
    kind, value = error["type"], error["input"]
    context: Mapping[str, Any] = error.get("ctx") or {}
    right = f"write for example {example}" if example else "see the description of the studio folder for what it takes"
    if kind == "extra_forbidden":
        return unknown_key(str(error["loc"][-1]), known_keys)
    if kind == "missing":
        return "is missing", right
    if kind == "literal_error":
        return _not_one_of(value, str(context.get("expected", "")))
    limit = _LIMITS.get(kind)
    if limit is not None:
        problem, remedy = limit
        amount = context.get(_LIMIT_KEYS.get(kind, ""), "")
        return f"{shown(value)} {problem}", remedy.format(amount=_amount(amount))
    if kind in _WRONG_KIND:
        return _WRONG_KIND[kind](value, right)
    if kind not in _LIBRARY_KINDS:
        return _our_own(error, right if example else "put this right")
    return f"{shown(value)} cannot be used here", right


def unknown_key(key: str, known_keys: Iterable[str], what: str = "key") -> Words:
    """Problem and remedy of a key, or column, that the contract does not have."""
    known = list(known_keys)
    meant = nearest(key, known)
    if meant is not None:
        return f"{shown(key)} is not a {what} here", f'did you mean "{meant}"?'
    return f"{shown(key)} is not a {what} here", f"remove it, or write one of {listing(known)}"


def unknown_id(value: str, what: str, known: Iterable[str], where: str) -> Words:
    """Problem and remedy of a reference that leads nowhere."""
    ids = list(known)
    meant = nearest(value, ids)
    if meant is not None:
        remedy = f'did you mean "{meant}"?'
    elif ids:
        remedy = f"write one of {listing(ids, most=12)}, or add it to {where}"
    else:
        remedy = f"add it to {where}"
    return f"there is no {what} {shown(value)}", remedy


def _amount(amount: object) -> str:
    return f"{amount:.15g}" if isinstance(amount, int | float) else str(amount)


def _not_one_of(value: object, expected: str) -> Words:
    choices = re.findall(r"'([^']*)'|(\d+)", expected)
    words = [text or number for text, number in choices]
    meant = nearest(value, words) if isinstance(value, str) else None
    if meant is not None:
        return f"{shown(value)} is not one of the choices", f'did you mean "{meant}"?'
    return f"{shown(value)} is not one of the choices", f"write {listing(words)}"


def _our_own(error: ErrorDetails, right: str) -> Words:
    # Our own errors are written as "problem; remedy", about the value ("is not a time") or about keys of a table.
    problem, _, remedy = error["msg"].partition("; ")
    value = error["input"]
    if problem.startswith("is "):
        return f"{shown(value)} {problem}", remedy or right
    return (_with_values(problem, value) if isinstance(value, dict) else problem), remedy or right


def _with_values(problem: str, table: dict[str, Any]) -> str:
    # "to is before from" -> "to (2026-12-24) is before from (2027-01-01)"
    told: set[str] = set()

    def tell(match: re.Match[str]) -> str:
        key = match[0]
        value = table.get(key)
        if key in told or value is None or isinstance(value, dict | list | Odd):
            return key
        told.add(key)
        return f"{key} ({shown(value)})"

    return re.sub(r"\b[a-z_]+\b(?! =)(?!\.)", tell, problem)


def _no_number(value: object, right: str) -> Words:
    if isinstance(value, str) and re.fullmatch(r"\s*-?\d+,\d+\s*", value):
        return f"{shown(value)} is not a number", f"write it with a point, {value.strip().replace(',', '.')}"
    return f"{shown(value)} is not a number", right


def _no_whole_number(value: object, right: str) -> Words:
    if isinstance(value, str) and re.fullmatch(r"\s*-?\d+\.\d+\s*", value):
        return f"{shown(value)} is not a whole number", right
    return _no_number(value, right)


def _no_text(value: object, right: str) -> Words:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{shown(value)} is not text", f'put it in quotes, "{shown(value)}"'
    return f"{shown(value)} is not text", right


def _said(problem: str) -> Callable[[object, str], Words]:
    return lambda value, right: (f"{shown(value)} {problem}", right)


_WRONG_KIND: dict[str, Callable[[object, str], Words]] = {
    "string_type": _no_text,
    "string_unicode": _said("holds letters that cannot be read"),
    "string_pattern_mismatch": lambda value, right: (
        f"{shown(value)} cannot be an id",
        "write a short text without ; , : = [ ] or line breaks",
    ),
    "float_type": _no_number,
    "float_parsing": _no_number,
    "int_type": _no_number,
    "int_parsing": _no_whole_number,
    "number": _no_number,
    "int_from_float": _said("is not a whole number"),
    "int_parsing_size": _said("is too large a number"),
    "finite_number": _said("is not a finite number"),
    "bool_type": _said("is neither true nor false"),
    "bool_parsing": _said("is neither true nor false"),
    "tuple_type": _said("is not a list"),
    "list_type": _said("is not a list"),
    "model_type": _said("is not a table"),
    "model_attributes_type": _said("is not a table"),
    "dict_type": _said("is not a table"),
    "date_type": _said("is not a date"),
    "date_parsing": _said("is not a date"),
    "date_from_datetime_parsing": _said("is not a date"),
    "date_from_datetime_inexact": _said("is a time where a whole day is meant"),
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

_LIMITS: dict[str, Words] = {
    "greater_than": ("is too small", "write a number above {amount}"),
    "greater_than_equal": ("is too small", "write {amount} or more"),
    "less_than": ("is too large", "write a number below {amount}"),
    "less_than_equal": ("is too large", "write {amount} or less"),
    "too_short": ("is too short", "write a list of at least {amount}"),
    "too_long": ("is too long", "write a list of at most {amount}"),
    "string_too_short": ("is empty", "write a text, or leave the key out where it is optional"),
    "string_too_long": ("is too long", "write at most {amount} letters"),
}

_LIBRARY_KINDS = frozenset(get_args(core_schema.ErrorType))
"""The validation library's own error types; every other one is raised, and worded, by the records of ``shared``."""
