"""The vocabulary's records as they travel over HTTP: spelt as in the studio's files, in its unit and zone.

One contract serves files and HTTP, so that a kiln read from the service can be pasted into ``studio.toml``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Annotated, Any, TypeVar, get_args

from pydantic import BeforeValidator, TypeAdapter, ValidationError, WithJsonSchema
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from shared.clock import Moment
from shared.errors import Fault, FolderError
from shared.files.examples import CELL_EXAMPLES, TOML_EXAMPLES
from shared.files.fault_list import FaultList
from shared.files.toml_tables import FLAGS, Reading, key_path, told_once
from shared.files.values import tamed
from shared.files.wording import keys_of, plain_words
from shared.kilns import Circuit, Kiln
from shared.loads import Load
from shared.plans import HoldMinutes, Plan, Told
from shared.profiles import Profile
from shared.record import Record
from shared.studio import Absence, CleanOut, Closed, Outage, Place, Prices, Quiet, Rules, Shift, Tariff
from shared.units import DurationMinutes, MinuteOfDay, RateKPerHour, TemperatureC

RecordT = TypeVar("RecordT", bound=Record)

LOAD_FLAGS = FLAGS | {"alone"}


def reading_of(place: Place) -> Reading:
    """How a studio's files, and its requests, are to be understood."""
    return Reading(place.temperature, place.zone)


def written(record: Record, place: Place) -> dict[str, Any]:
    """A record as it stands in the studio's files, defaults included."""
    spoken: dict[str, Any] = _spoken(record.model_dump(mode="json", by_alias=True, context=reading_of(place).context))
    return spoken


def said(record: Record, place: Place) -> dict[str, Any]:
    """The same without what nobody said, so that defaults stay defaults."""
    dumped = record.model_dump(mode="json", by_alias=True, exclude_unset=True, context=reading_of(place).context)
    spoken: dict[str, Any] = _spoken(dumped)
    return spoken


def _spoken(value: Any) -> Any:
    # What is None after writing was not said; before, no rate at all is "full".
    if isinstance(value, dict):
        return {key: _spoken(item) for key, item in value.items() if item is not None}
    return [_spoken(item) for item in value] if isinstance(value, list) else value


def read_record(model: type[RecordT], body: Mapping[str, Any], table: str, place: Place) -> RecordT:
    """The record that a request's body means.

    Raises
    ------
    FolderError
        With every fault of the body, worded as the files' faults are.
    """
    flags = LOAD_FLAGS if model is Load else FLAGS
    try:
        return model.model_validate(
            tamed(dict(body), flags), by_alias=True, by_name=False, context=reading_of(place).context
        )
    except ValidationError as error:
        faults = FaultList(table)
        for detail in told_once(error.errors(include_url=False)):
            keys = [part for part in detail["loc"] if isinstance(part, str)]
            key = keys[-1] if keys else ""
            example = CELL_EXAMPLES.get(key, "") if model is Load else TOML_EXAMPLES.get(f"{table}.{key}", "")
            # A load's examples are words of their own, as in loads.csv.
            write = "fault.write" if model is Load else "fault.write_for_example"
            problem, remedy = plain_words(detail, example, keys_of(model), write)
            faults.add(" › ".join(key_path(detail["loc"])), problem, remedy)
        raise FolderError(faults.listed()) from None


def stored(record: Record) -> dict[str, Any]:
    """A record as the database keeps it: field names, °C, minutes, unrounded, only what was said."""
    kept: dict[str, Any] = _raw(record)
    return kept


def _raw(value: Any) -> Any:
    # The records' own writing rounds to a millionth of the studio's unit; what is kept must come back the same.
    if isinstance(value, Record):
        kept = {name: _raw(getattr(value, name)) for name in type(value).model_fields if name in value.model_fields_set}
        return kept | value.said if isinstance(value, Told) else kept
    if isinstance(value, tuple | list):
        return [_raw(item) for item in value]
    return value.isoformat() if isinstance(value, date) else value


def restored(model: type[RecordT], body: Mapping[str, Any]) -> RecordT:
    """The record that the database kept."""
    return model.model_validate(dict(body))


def stored_text(record: Record) -> str:
    """A record as text that a plan's row keeps."""
    return json.dumps(stored(record), ensure_ascii=False, allow_nan=False)


def restored_text(model: type[RecordT], text: str) -> RecordT:
    """The record of such a text."""
    return restored(model, json.loads(text))


def stored_loads(loads: Sequence[Load]) -> str:
    """Loads as text."""
    return json.dumps([stored(load) for load in loads], ensure_ascii=False, allow_nan=False)


def restored_loads(text: str) -> tuple[Load, ...]:
    """The loads of such a text."""
    return tuple(restored(Load, body) for body in json.loads(text))


PART_MODELS: dict[str, type[Record]] = {
    "studio": Place,
    "shifts": Shift,
    "closed": Closed,
    "absences": Absence,
    "circuits": Circuit,
    "kilns": Kiln,
    "outages": Outage,
    "tariff": Tariff,
    "rules": Rules,
    "quiet": Quiet,
    "clean_outs": CleanOut,
    "prices": Prices,
    "profiles": Profile,
}
"""The tables of a studio's files and what each holds."""

SINGLE_PARTS = ("studio", "tariff", "rules", "prices")
"""The tables that stand once."""

NAMED_PARTS = ("circuits", "kilns", "profiles")
"""The tables with an id of their own; the others are numbered by the service."""


def _validator(annotated: object) -> object:
    return next(item.func for item in get_args(annotated) if isinstance(item, BeforeValidator))


_WIRE_TYPES: dict[object, JsonSchemaValue] = {
    _validator(TemperatureC): {"type": "number", "description": "Degrees in the studio's unit."},
    _validator(RateKPerHour): {
        "anyOf": [{"type": "number", "exclusiveMinimum": 0}, {"type": "string", "const": "full"}],
        "description": 'Degrees per hour in the studio\'s unit, or "full".',
    },
    _validator(DurationMinutes): {
        "anyOf": [
            {"type": "string", "pattern": "^[0-9]{1,4}:[0-5][0-9]$"},
            {"type": "number", "minimum": 0, "exclusiveMaximum": 10000},
        ],
        "description": 'A duration as "H:MM", or hours.',
    },
    _validator(MinuteOfDay): {"type": "string", "pattern": "^([01]?[0-9]|2[0-4]):[0-5][0-9]$"},
    _validator(Moment): {
        "type": "string",
        "description": "ISO 8601; without an offset the studio's wall clock.",
        "examples": ["2026-11-30T18:00:00+01:00"],
    },
    _validator(HoldMinutes): {"type": "number", "minimum": 0, "description": "Hours."},
}


class _Wire(GenerateJsonSchema):
    """JSON schemas of the file form: units, durations and times as people write them."""

    def function_before_schema(self, schema: core_schema.BeforeValidatorFunctionSchema) -> JsonSchemaValue:
        found = _WIRE_TYPES.get(schema["function"]["function"])
        return dict(found) if found is not None else super().function_before_schema(schema)

    def ser_schema(self, schema: Any) -> JsonSchemaValue | None:
        return None

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        # Defaults are in the code's units; what a key means without them stands in the description of the folder.
        return self.generate_inner(schema["schema"])

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        # What is not said is left out, never null.
        return self.generate_inner(schema["schema"])


class _PlanWire(_Wire):
    """The same for plan files, in which what has no value is null."""

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return {"anyOf": [self.generate_inner(schema["schema"]), {"type": "null"}]}


def _flat(value: Any, definitions: Mapping[str, Any]) -> Any:
    if isinstance(value, dict):
        if "$ref" in value:
            return _flat(definitions[value["$ref"].rsplit("/", 1)[-1]], definitions)
        if "prefixItems" in value:
            # All our fixed-length tuples hold one kind of thing; not every reader of OpenAPI knows prefixItems.
            value = {key: item for key, item in value.items() if key != "prefixItems"} | {
                "items": value["prefixItems"][0]
            }
        return {key: _flat(item, definitions) for key, item in value.items() if key not in ("$defs", "title")}
    return [_flat(item, definitions) for item in value] if isinstance(value, list) else value


def wire_schema(model: type[Record]) -> JsonSchemaValue:
    """The JSON schema of a record's file form, complete in itself."""
    generator = _PlanWire if model is Plan else _Wire
    raw = TypeAdapter(model).json_schema(by_alias=True, schema_generator=generator, mode="validation")
    flat: JsonSchemaValue = _flat(raw, raw.get("$defs", {}))
    return flat | {"title": model.__name__}


LoadBody = Annotated[dict[str, Any], WithJsonSchema(wire_schema(Load))]
PlanBody = Annotated[dict[str, Any], WithJsonSchema(wire_schema(Plan))]


def refuse(table: str, place: str, problem: str, remedy: str) -> FolderError:
    """One fault as an error to raise."""
    return FolderError([Fault(table, place, problem, remedy)])
