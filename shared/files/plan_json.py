"""plan.json: a plan as other programs read it."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from shared.clock import minute_of
from shared.errors import FolderError
from shared.files.fault_list import FaultList
from shared.files.text import read_text, write_whole
from shared.files.toml_tables import Reading, key_path, told_once
from shared.files.values import Odd, clipped, shown, tamed
from shared.files.wording import keys_of, plain_words
from shared.plans import CostParts, Firing, HoldNote, Late, Plan, PlannedSegment, Proof, Unplaced
from shared.record import Record
from shared.studio import Studio
from shared.texts import Text, say

FORMAT = 1
"""The format number of the plan files that this program writes and reads."""

LARGEST_PLAN_BYTES = 50_000_000
"""Largest plan file that is read [byte]; house choice: some 10 000 firings."""

TIMES = frozenset(
    {
        *("made_at", "from", "to", "load_at", "start_at", "target_at", "hot_until", "safe_at", "unload_at", "free_at"),
        *("reached_at", "hold_ends_at", "promised", "out_at", "hot_until_between", "safe_between"),
    }
)
"""The keys that hold a time, which in a plan file always carries its offset."""

_INNER: dict[str, type[Record]] = {
    "proof": Proof,
    "cost_parts": CostParts,
    "firings": Firing,
    "segments": PlannedSegment,
    "unplaced": Unplaced,
    "late": Late,
    "hold_notes": HoldNote,
}
_EXAMPLE_TIME = "2026-11-30T18:00:00+00:00"


def read_plan(path: Path, studio: Studio) -> Plan:
    """A plan from a plan file. Whether it is a *right* plan, its ids included, is for the audit to say.

    Raises
    ------
    FolderError
        With every fault of the file.
    """
    path = Path(path)
    faults = FaultList(clipped(path.name))
    text = read_text(path, faults, LARGEST_PLAN_BYTES, say("fault.make_plan_file", file=clipped(path.name)))
    plan = plan_from_text(text, studio, faults) if text is not None else None
    if plan is None:
        raise FolderError(faults.listed())
    return plan


def write_plan(path: Path, plan: Plan, studio: Studio) -> None:
    """Write a plan file, whole or not at all; the same plan gives the same bytes.

    Raises
    ------
    RequestError
        If it cannot be written.
    """
    write_whole({Path(path): plan_text(plan, studio)})


def plan_text(plan: Plan, studio: Studio) -> str:
    """The text of a plan file."""
    context = Reading(studio.place.temperature, studio.place.zone).context
    document = plan.model_dump(mode="json", by_alias=True, context=context)
    for firing in document["firings"]:
        for key in ("hot_until_between", "safe_between"):
            if firing[key] is None:
                del firing[key]
        for key in ("held", "clean_out_minutes"):
            if not firing[key]:
                del firing[key]
    if not document["cost_parts"]["clean_outs"]:
        del document["cost_parts"]["clean_outs"]
    for key in ("under_way", "replanned", "last_work", "hold_notes"):
        if not document[key]:
            del document[key]
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def plan_from_text(text: str, studio: Studio, faults: FaultList) -> Plan | None:
    """The plan in the text of a plan file; None where there are faults, which are then listed."""
    document = _parsed(text, faults)
    if document is None:
        return None
    if document.get("format") != FORMAT:
        said = say("fault.is", value=shown(document["format"])) if "format" in document else say("fault.is_missing")
        faults.add("format", said, say("fault.this_program_reads", format=FORMAT))
        return None
    for place, value in _times_without_offset(document, ""):
        faults.add(
            place,
            say("fault.has_no_offset", value=shown(value)),
            say("fault.write_it_with", example=_EXAMPLE_TIME),
        )
        if faults.hopeless:
            return None
    _fill_in(document, studio)
    reading = Reading(studio.place.temperature, studio.place.zone)
    try:
        plan = Plan.model_validate(document, by_alias=True, by_name=False, context=reading.context)
    except ValidationError as error:
        for detail in told_once(error.errors(include_url=False)):
            _tell(detail, document, faults)
        return None
    return None if faults.count else plan


def _parsed(text: str, faults: FaultList) -> dict[str, Any] | None:
    try:
        document = json.loads(text)
    except json.JSONDecodeError as error:
        faults.add(
            say("fault.line_column", line=error.lineno, column=error.colno),
            say("fault.is_not_json") if text.strip() else say("fault.is_empty"),
            say("fault.write_plan_file"),
        )
        return None
    except RecursionError:
        faults.add("", say("fault.holds_lists_inside"), say("fault.write_plan_file_anew"))
        return None
    except ValueError:
        faults.add("", say("fault.holds_number_that"), say("fault.write_plan_file_anew"))
        return None
    tame = tamed(document, frozenset({"replanned", "held", "kept"}))
    if not isinstance(tame, dict):
        faults.add("", say("fault.is_not_a_plan", value=shown(document)), say("fault.plan_file_one"))
        return None
    return tame


def _times_without_offset(value: object, place: str, key: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(value, dict):
        for name, item in value.items():
            yield from _times_without_offset(item, f"{place} › {clipped(name)}" if place else clipped(name), name)
    elif isinstance(value, list):
        for number, item in enumerate(value):
            yield from _times_without_offset(item, f"{place}[{number}]", key)
    elif isinstance(value, str) and key in TIMES:
        try:
            naive = datetime.fromisoformat(value.strip()).tzinfo is None
        except ValueError:
            return
        if naive:
            yield place, value


def _fill_in(document: dict[str, Any], studio: Studio) -> None:
    """Add ``unload_minutes``, which the contract does not ask of other programs, where it is not given.

    It follows from the rest: of hot work it is the session, which ends at ``hot_until``; else the kiln's own time.
    """
    firings = document.get("firings")
    for firing in firings if isinstance(firings, list) else ():
        if not isinstance(firing, dict) or "unload_minutes" in firing:
            continue
        profile = studio.profile_by_id.get(str(firing.get("profile")))
        kiln = studio.kiln_by_id.get(str(firing.get("kiln")))
        minutes = 0 if kiln is None else math.ceil(kiln.unload_minutes)
        if profile is not None and profile.unload == "hot":
            begins, ends = _minute(firing.get("unload_at")), _minute(firing.get("hot_until"))
            minutes = max(0, ends - begins) if begins is not None and ends is not None else 0
        firing["unload_minutes"] = minutes


def _minute(value: object) -> int | None:
    try:
        return minute_of(datetime.fromisoformat(str(value)))
    except (ValueError, OverflowError):
        return None


def _tell(error: Any, document: dict[str, Any], faults: FaultList) -> None:
    location: tuple[int | str, ...] = error["loc"]
    names = [part for part in location if isinstance(part, str)]
    model: type[Record] = Plan
    for name in names[:-1]:
        model = _INNER.get(name, model)
    example = _EXAMPLE_TIME if names and names[-1] in TIMES else ""
    problem, remedy = plain_words(error, example, keys_of(model))
    if isinstance(remedy, Text) and remedy.key == "fault.see_description_studio":
        remedy = say("fault.see_description_plan")
    steps = list(key_path(location))
    if len(location) > 1 and isinstance(location[1], int) and steps:
        label = _label(document, location)
        steps[0] += f" {clipped(label)}" if label else ""
    faults.add(" › ".join(steps), problem, remedy)


def _label(document: dict[str, Any], location: tuple[int | str, ...]) -> str | None:
    try:
        entry = document[str(location[0])][location[1]]
        label = entry.get("id") or entry.get("load")
    except (LookupError, TypeError, AttributeError):
        return None
    return label if isinstance(label, str) and not isinstance(label, Odd) else None
