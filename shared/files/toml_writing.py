"""studio.toml and profiles.toml as text that people like to edit: one value a line, one segment a line.

The document is plain TOML 1.0. Only what was said is written, so that defaults stay defaults.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from shared.files.toml_tables import Reading
from shared.kilns import Fitted
from shared.record import Record
from shared.studio import Studio

_SHORT_LINE = 100


def studio_text(studio: Studio) -> str:
    """studio.toml of a studio."""
    context = Reading(studio.place.temperature, studio.place.zone).context
    lines = _table("[studio]", _said(studio.place, context))
    for name, records in (
        ("shifts", studio.shifts),
        ("closed", studio.closed),
        ("absences", studio.absences),
        ("circuits", studio.circuits),
        ("kilns", studio.kilns),
        ("outages", studio.outages),
    ):
        for record in records:
            lines += _table(f"[[{name}]]", _with_times(name, _said(record, context)))
    tariff = _said(studio.tariff, context)
    bands = tariff.pop("bands", ())
    lines += _table("[tariff]", tariff) if tariff or bands else []
    for band in bands:
        lines += _table("[[tariff.bands]]", band)
    rules, prices = _said(studio.rules, context), _said(studio.prices, context)
    lines += _table("[rules]", rules) if rules else []
    for quiet in studio.quiet:
        lines += _table("[[quiet]]", _said(quiet, context))
    for clean_out in studio.clean_outs:
        lines += _table("[[clean_outs]]", _said(clean_out, context))
    lines += _table("[prices]", prices) if prices else []
    return "\n".join(lines[1:]) + "\n"


def profiles_text(studio: Studio) -> str:
    """profiles.toml of a studio."""
    context = Reading(studio.place.temperature, studio.place.zone).context
    lines: list[str] = []
    for profile in studio.profiles:
        said = _said(profile, context)
        sizes = said.pop("sizes", ())
        lines += _table("[[profiles]]", said)
        for size in sizes:
            lines += _table("[[profiles.sizes]]", size)
    return "\n".join(lines[1:]) + "\n" if lines else "# [[profiles]] tables stand here\n"


def fitted_value(fitted: Fitted) -> str:
    """The inline table of a kiln's fit."""
    said = fitted.model_dump(by_alias=True, exclude_none=True)
    if not said.get("firings"):
        said.pop("firings", None)
    return _value(said)


def _said(record: Record, context: Mapping[str, Any]) -> dict[str, Any]:
    # Nothing is left out by value before it is written: no rate at all is "full".
    said: dict[str, Any] = _without_none(record.model_dump(by_alias=True, exclude_unset=True, context=dict(context)))
    return said


def _without_none(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _without_none(item) for key, item in value.items() if item is not None}
    return [_without_none(item) for item in value] if isinstance(value, list | tuple) else value


def _with_times(name: str, said: dict[str, Any]) -> dict[str, Any]:
    # TOML has a kind of its own for times, which outages have; all other times are times of day.
    if name == "outages":
        return {k: datetime.fromisoformat(v) if k in ("from", "to") else v for k, v in said.items()}
    return said


def _table(header: str, said: Mapping[str, Any]) -> list[str]:
    lines = ["", header]
    for key, value in said.items():
        lines += _lines(key, value)
    return lines


def _lines(key: str, value: Any) -> Iterator[str]:
    line = f"{key} = {_value(value)}"
    if isinstance(value, list | tuple) and value and (len(line) > _SHORT_LINE or isinstance(value[0], Mapping)):
        yield f"{key} = ["
        for item in value:
            yield f"  {_value(item)},"
        yield "]"
    else:
        yield line


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(value)
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_value(item)}" for key, item in value.items()) + " }" if value else "{}"
    if isinstance(value, Sequence):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    raise TypeError(f"no TOML value: {type(value).__name__}")


_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}


def _quoted(text: str) -> str:
    letters = (_ESCAPES.get(c) or (f"\\u{ord(c):04x}" if ord(c) < 0x20 or ord(c) == 0x7F else c) for c in text)
    return '"' + "".join(letters) + '"'
