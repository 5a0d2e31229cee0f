"""The plan: which loads are fired together, in which kiln, when; and what could not be done."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import (
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    SerializationInfo,
    SerializerFunctionWrapHandler,
    StrictBool,
    ValidationInfo,
    model_serializer,
    model_validator,
)

from shared.clock import Minute, Moment
from shared.record import NotNegative, Record
from shared.texts import Sentence, Text, document, from_document
from shared.units import RateKPerHour, TemperatureC


def _hours_to_minutes(value: object, info: ValidationInfo) -> object:
    # Files count a hold in hours, the code in minutes.
    if isinstance(info.context, dict) and isinstance(value, int | float) and not isinstance(value, bool):
        # Hours have nine decimals in files, so that minutes come back to a millionth.
        return round(value * 60.0, 6)
    return value


def _minutes_to_hours(value: float, info: SerializationInfo) -> Any:
    return round(value / 60.0, 9) if isinstance(info.context, dict) else value


HoldMinutes = Annotated[float, BeforeValidator(_hours_to_minutes), PlainSerializer(_minutes_to_hours), Field(ge=0)]


class PlannedSegment(Record):
    """A segment as it will run. ``reached_at`` is when its target is reached."""

    rate_k_per_hour: RateKPerHour = Field(alias="rate")
    to_c: TemperatureC = Field(alias="to")
    hold_minutes: HoldMinutes = Field(alias="hold_hours")
    reached_at: Moment
    hold_ends_at: Moment


class Firing(Record):
    """One firing of one kiln. The meaning of each time stands in the plan file's contract.

    ``size_row`` counts the profile's sizes from 0. ``share_used`` is the part of the kiln's height that the layers
    take times the mean part of the shelf in use, so 1 is a kiln with no room left. ``clean_out_minutes`` is how long
    somebody cleans the kiln out before ``load_at``, after other work. ``held``: a person has fixed it, and no planning
    moves it.
    """

    id: str
    kiln: str
    profile: str
    size_row: int | None
    loads: Annotated[tuple[str, ...], Field(min_length=1)]
    load_at: Moment
    start_at: Moment
    target_at: Moment
    hot_until: Moment
    safe_at: Moment
    unload_at: Moment
    free_at: Moment
    segments: tuple[PlannedSegment, ...]
    layers: tuple[tuple[str, ...], ...]
    amps: NotNegative
    kwh: NotNegative
    energy_cost: float
    share_used: NotNegative
    unload_minutes: Annotated[int, Field(ge=0)]
    clean_out_minutes: Annotated[int, Field(ge=0)] = 0
    hot_until_between: tuple[Moment, Moment] | None = None
    safe_between: tuple[Moment, Moment] | None = None
    held: StrictBool = False

    @property
    def clean_out_at(self) -> Minute:
        """When somebody begins to clean the kiln out for this firing; ``load_at`` where nobody does."""
        return self.load_at - self.clean_out_minutes

    @property
    def out_at(self) -> Minute:
        """When the loads are out of the kiln: the end of unloading, or of the hot session."""
        return self.unload_at + self.unload_minutes


def _may_have_said(schema: dict[str, Any]) -> None:
    schema["properties"]["said"] = {"type": "object", "description": "Key and values of the texts, by field."}


class Told(Record):
    """What is told to people in words; a file holds, beside the English words, what they were made of.

    The optional key ``said`` has, by the name of each field that it is about, key and values of its texts.
    """

    model_config = ConfigDict(json_schema_extra=_may_have_said)

    @model_validator(mode="before")
    @classmethod
    def _with_keys(cls, data: Any) -> Any:
        if not isinstance(data, dict) or "said" not in data:
            return data
        kept = {name: value for name, value in data.items() if name != "said"}
        said = data["said"] if isinstance(data["said"], dict) else {}
        return kept | {name: spoken for name in kept if (spoken := _spoken(kept[name], said.get(name))) is not None}

    @model_serializer(mode="wrap")
    def _with_said(self, write: SerializerFunctionWrapHandler, info: SerializationInfo) -> dict[str, Any]:
        written: dict[str, Any] = write(self)
        if info.mode != "json":
            return written
        return written | self.said

    @property
    def said(self) -> dict[str, Any]:
        """The key ``said`` as plain data; nothing where no text has a key."""
        said = {name: plain for name in type(self).model_fields if (plain := _plain(getattr(self, name))) is not None}
        return {"said": said} if said else {}


def _plain(value: object) -> Any:
    if isinstance(value, Text):
        return document(value) if value.key else None
    if isinstance(value, tuple) and any(isinstance(item, Text) and item.key for item in value):
        return [document(item) for item in value]
    return None


def _spoken(value: object, said: object) -> Any:
    """The texts of a field, if what is said of them fits the words that stand there; else None."""
    try:
        if isinstance(value, list) and isinstance(said, list):
            texts = [from_document(one) for one in said]
            return texts if [str(text) for text in texts] == value else None
        text = from_document(said) if said is not None else None
    except (LookupError, TypeError, ValueError, AttributeError):
        return None
    return text if text is not None and str(text) == value else None


class Unplaced(Told):
    """A load without a firing: the rule that binds, in words, and what would help."""

    load: str
    rule: str
    why: Sentence
    would_help: tuple[Sentence, ...] = ()


class Late(Told):
    """A load that is out after its promise: how long, why, and what would have helped."""

    load: str
    promised: Moment
    out_at: Moment
    hours: NotNegative
    why: Sentence = ""
    would_help: tuple[Sentence, ...] = ()


class HoldNote(Told):
    """What became of a firing that was held and could not stay just as it was: why, and by which rule.

    ``kept``: it is where it was, without some of its loads. Else it was let go, and its loads were planned anew.
    """

    firing: str
    kiln: str
    start_at: Moment
    loads: tuple[str, ...]
    rule: str
    why: Sentence
    kept: StrictBool = False


class Proof(Record):
    """How far the plan is from proved: no plan costs less than ``bound``.

    ``optimal``: the cost is the bound (to a cent). ``within``: at most a twentieth above it. ``unproved``: more.
    """

    status: Literal["optimal", "within", "unproved"]
    cost: float
    bound: float
    seconds: NotNegative


class CostParts(Record):
    """What the cost is made of, in the studio's currency."""

    lateness: float = 0.0
    unplaced: float = 0.0
    energy: float = 0.0
    firings: float = 0.0
    changes: float = 0.0
    clean_outs: float = 0.0

    @property
    def total(self) -> float:
        """The cost of the plan."""
        return self.lateness + self.unplaced + self.energy + self.firings + self.changes + self.clean_outs


class Plan(Record):
    """A plan for ``[begin, end)``.

    ``replanned``: it replaces another plan, and may count a price for changes. ``under_way`` are then the ids of the
    firings that had begun before it, or for which a kiln was being cleaned out. ``last_work`` is what a kiln had fired
    last before the plan, where that is not what the studio says. ``hold_notes`` tell of each firing that was held and
    could not stay as it was. A plan file holds these only where they say something.
    """

    format: Literal[1] = 1
    studio: str
    made_at: Moment
    begin: Moment = Field(alias="from")
    end: Moment = Field(alias="to")
    proof: Proof
    cost_parts: CostParts
    firings: tuple[Firing, ...] = ()
    unplaced: tuple[Unplaced, ...] = ()
    late: tuple[Late, ...] = ()
    under_way: tuple[str, ...] = ()
    replanned: bool = False
    last_work: dict[str, str] = Field(default_factory=dict)
    hold_notes: tuple[HoldNote, ...] = ()
