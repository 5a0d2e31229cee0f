"""The shapes of requests and answers, as the API's description shows them."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, WithJsonSchema

from api.costs import CostRule
from api.security import Role
from api.wire import PART_MODELS, PlanBody, wire_schema
from shared.loads import Load

PlainText = Annotated[str, StringConstraints(max_length=1000, pattern=r"^[^\x00]*$")]
Name = Annotated[str, StringConstraints(min_length=1, max_length=200, pattern=r"^[^\x00]*$")]
Secret = Annotated[str, StringConstraints(min_length=1, max_length=200, pattern=r"^[\x21-\x7e]*$")]
Password = Annotated[str, StringConstraints(min_length=1, max_length=500)]
Version = Annotated[int, Field(ge=0, le=2**31 - 1, description="The version that you have seen.")]
RowId = Annotated[int, Field(ge=1, le=2**31 - 1)]
Key = Annotated[str, StringConstraints(min_length=1, max_length=60, pattern=r"^[^\x00]*$")]
Instant = Annotated[datetime, Field(description="ISO 8601 with its offset.", examples=["2026-11-30T18:00:00+01:00"])]

_LOAD = wire_schema(Load)
_EXAMPLE_LOAD = {
    "profile": "bisque",
    "pieces": 24,
    "footprint_cm2": 1800,
    "height_mm": 110,
    "mass_kg": 9.5,
    "family": "buff stoneware",
    "promised": "2026-12-04T17:00",
    "note": "Mugs, rim to rim.",
}


def _new_load_schema() -> dict[str, Any]:
    wanted = [key for key in _LOAD["required"] if key != "id"]
    return {**_LOAD, "required": wanted, "examples": [_EXAMPLE_LOAD]}


NewLoad = Annotated[dict[str, Any], WithJsonSchema(_new_load_schema())]
ShownLoad = Annotated[dict[str, Any], WithJsonSchema(_LOAD)]
PartBody = Annotated[dict[str, Any], WithJsonSchema({"anyOf": [wire_schema(model) for model in PART_MODELS.values()]})]
PartKind = Literal[
    "studio", "shifts", "closed", "absences", "circuits", "kilns", "outages", "tariff", "rules", "quiet", "clean_outs",
    "prices", "profiles",
]  # fmt: skip


class Body(BaseModel):
    """A request's body: closed to unknown keys."""

    model_config = ConfigDict(extra="forbid")


def _as(**example: Any) -> ConfigDict:
    """The same, with an example for the API's description."""
    return ConfigDict(extra="forbid", json_schema_extra={"examples": [example]})


class Versioned(Body):
    """What a change is based on."""

    model_config = _as(version=1)

    version: Version


class FirstPassword(Body):
    """The one-time link's secret and the password to set."""

    model_config = _as(link="D67e3rvjO1j0mK2YZAGxgso4nDRJel8LDum0vZS7ZU8", name="Marta", password="four quiet kilns")

    link: Secret
    name: Name | None = Field(default=None, description="Of the first manager.")
    password: Password


class SignIn(Body):
    """Name and password."""

    model_config = _as(name="Marta", password="four quiet kilns")

    name: Name
    password: Password


class NewPassword(Body):
    """The old password and the new one."""

    model_config = _as(old="four quiet kilns", new="five quiet kilns")

    old: Password
    new: Password


class Me(BaseModel):
    """Who is signed in."""

    id: int | None
    name: str
    role: Role


class PersonShown(BaseModel):
    """A person."""

    id: int
    name: str
    role: Role
    active: bool
    version: int


class NewPerson(Body):
    """Somebody to add."""

    model_config = _as(name="Tue evening class", role="member", takes_over="Tue evening class")

    name: Name
    role: Literal[Role.MANAGER, Role.ATTENDANT, Role.MEMBER] = Role.MEMBER
    takes_over: Name | None = Field(default=None, description="Loads booked under this owner become theirs.")


class PersonAdded(PersonShown):
    """A person with the one-time link to hand to them."""

    loads_taken_over: int
    link: str


class PersonChange(Versioned):
    """What somebody becomes."""

    model_config = _as(version=1, name="Ilse", role="attendant", active=True)

    name: Name
    role: Literal[Role.MANAGER, Role.ATTENDANT, Role.MEMBER]
    active: bool = True


class Invited(BaseModel):
    """A new one-time link."""

    person: int
    link: str


class SessionShown(BaseModel):
    """One sign-in."""

    id: int
    device: str
    created_at: datetime
    expires_at: datetime
    this_one: bool


class NewToken(Body):
    """A token to make."""

    model_config = _as(label="Display in the kiln room", display=True)

    label: Name
    display: bool = Field(default=False, description="For a wall display: read-only, nobody's.")


class TokenShown(BaseModel):
    """A token."""

    id: int
    kind: Literal["person", "display"]
    label: str
    created_at: datetime


class TokenAdded(TokenShown):
    """A token with its secret, shown this once."""

    secret: str
    address: str | None


class Booking(Body):
    """A load to book; ``person`` whose it is, for the staff to say."""

    model_config = _as(load=_EXAMPLE_LOAD)

    load: NewLoad
    person: RowId | None = None


class LoadChange(Versioned):
    """What a load becomes."""

    model_config = _as(version=1, load=_EXAMPLE_LOAD)

    load: NewLoad


class LoadShown(BaseModel):
    """A load and what became of it."""

    id: str
    version: int
    state: Literal["waiting", "cancelled", "fired", "lost", "collected"]
    person: int | None
    load: ShownLoad
    booked_at: datetime
    dried_at: datetime | None
    collected_at: datetime | None
    planned: dict[str, Any] | None = Field(default=None, description="Where and when the published plan fires it.")


class PartShown(BaseModel):
    """One table of the studio's description, as in its files."""

    kind: PartKind
    key: str
    version: int
    body: PartBody


class NewPart(Body):
    """A part to add, written as in the studio's files."""

    model_config = _as(body={"kiln": "K1", "from": "2026-11-30T12:00", "reason": "element"})

    body: PartBody


class PartChange(Versioned):
    """What a part becomes."""

    model_config = _as(version=1, body={"days": ["sat"], "from": "09:30", "to": "16:00", "hands": 2, "who": "Marta"})

    body: PartBody


class EffortBody(Body):
    """How long to search."""

    seconds: float | None = Field(default=None, gt=0, le=3600, description="Seconds.")
    work: int | None = Field(default=None, ge=0, le=100_000, description="Rounds instead of seconds: repeatable.")
    seed: int = Field(default=0, ge=0, le=2**31 - 1)


class PlanAsked(EffortBody):
    """A plan from a day on."""

    model_config = _as(day="2026-11-30", seconds=20)

    day: date | None = None


class Supposition(Body):
    """A part as it is supposed to be."""

    kind: PartKind
    body: PartBody


class Removal(Body):
    """A part supposed away."""

    kind: Literal["circuits", "kilns", "profiles"]
    key: Key


class WhatIfAsked(PlanAsked):
    """A plan of a studio as it might be."""

    model_config = _as(remove=[{"kind": "kilns", "key": "K1"}], seconds=10)

    set: list[Supposition] = Field(default=[], max_length=50)
    remove: list[Removal] = Field(default=[], max_length=50)
    add: list[ShownLoad] = Field(default=[], max_length=500)
    cancel: list[Key] = Field(default=[], max_length=500)


class KilnDownBody(Body):
    """A kiln that cannot be used."""

    kiln: Key
    until: Instant | None = None


class CircuitDownBody(Body):
    """A circuit without power."""

    circuit: Key
    until: Instant | None = None


class LateBody(Body):
    """A firing that is late."""

    firing: Key
    hours: float = Field(gt=0, le=240)


class AwayBody(Body):
    """Nobody there on a day, or for the shift that begins at ``opens``."""

    on: date
    opens: Annotated[str, StringConstraints(pattern=r"^([01][0-9]|2[0-3]):[0-5][0-9]$")] | None = None


class ReplanAsked(EffortBody):
    """What has happened. New and cancelled loads, and what was noted of firings, are known already."""

    model_config = _as(kilns_down=[{"kiln": "K1", "until": "2026-12-02T09:00:00+01:00"}], seconds=8)

    kilns_down: list[KilnDownBody] = Field(default=[], max_length=50)
    circuits_down: list[CircuitDownBody] = Field(default=[], max_length=50)
    late: list[LateBody] = Field(default=[], max_length=100)
    away: list[AwayBody] = Field(default=[], max_length=50)
    outcomes: dict[Key, Literal["refire", "fired", "lost"]] = {}
    by_records: bool | None = Field(
        default=None,
        description="Of firings that have begun by the plan and of which nothing is noted. True: they are still to do. "
        "False: they went by the plan, which is noted. Left out: they are still to do if others have been noted; if "
        "nothing has, the re-plan is refused.",
    )


class JobShown(BaseModel):
    """A solve, or a question, which ends in a result instead of a plan."""

    id: int
    kind: Literal["plan", "replan", "whatif", "why"]
    state: Literal["running", "done", "failed", "cancelled", "superseded", "interrupted"]
    asked_at: datetime
    ended_at: datetime | None
    plan: int | None
    message: str | None
    result: dict[str, Any] | None = Field(
        default=None, description="Of a question: the rule that binds, and changes that were solved and mend it."
    )
    progress: dict[str, Any] | None


class PlanSummary(BaseModel):
    """A plan in short."""

    id: int
    kind: Literal["plan", "replan", "whatif"]
    made_at: datetime
    made_by: int | None
    based_on: int | None
    cost: float
    bound: float
    status: Literal["optimal", "within", "unproved"]
    cost_parts: dict[str, float]
    firings: int
    late: list[dict[str, Any]]
    unplaced: list[dict[str, Any]]
    notes: dict[str, Any] = Field(description="Of a re-plan: changes by load, questions, what breaks otherwise.")


class PlanWhole(BaseModel):
    """A plan in short and as a plan file."""

    summary: PlanSummary
    plan: PlanBody


class Comparison(BaseModel):
    """Two plans side by side."""

    first: PlanSummary
    second: PlanSummary
    cheaper_by: float
    loads: list[dict[str, Any]]


class Publish(Body):
    """Publish a plan; ``publication`` is the number that you saw to hold, 0 for none."""

    model_config = _as(publication=3)

    publication: Version
    anyway: bool = Field(default=False, description="Although its loads have changed since.")


class PublicationShown(BaseModel):
    """That a plan was published."""

    publication: int
    plan: int | None
    at: datetime | None
    person: int | None
    told: int | None = Field(default=None, description="How many loads' owners were told.")


class StepTapped(Versioned):
    """That something has happened to a firing; ``version`` 0 where nothing was noted yet."""

    model_config = _as(version=0, at="2026-11-30T12:15:00+01:00", note="Cones on layers 1 and 4")

    at: Instant | None = None
    note: PlainText | None = None


class HoldShown(BaseModel):
    """Whether a firing is fixed where it is."""

    firing: str
    held: bool


class OpenedTapped(StepTapped):
    """That a firing was opened, and how it came out."""

    model_config = _as(version=2, result="good", kwh=61.5)

    result: Literal["good", "refire", "lost"] = "good"
    kwh: float | None = Field(default=None, ge=0, le=100_000, description="By the meter [kWh].")


class ReadingBody(Body):
    """One temperature, in the studio's unit."""

    at: Instant
    temperature: float = Field(ge=-100, le=4000)


class ReadingsBody(Body):
    """Temperatures of a running firing."""

    model_config = _as(readings=[{"at": "2026-11-30T13:05:00+01:00", "temperature": 214.5}])

    readings: list[ReadingBody] = Field(min_length=1, max_length=20_000)


class RecordShown(BaseModel):
    """What really happened to a firing."""

    id: int
    firing: str
    kiln: str
    profile: str
    loads: list[str]
    state: Literal["planned", "loaded", "started", "opened", "interrupted"]
    version: int
    loaded_at: datetime | None
    started_at: datetime | None
    opened_at: datetime | None
    result: Literal["good", "refire", "lost"] | None
    note: str
    kwh: float | None
    expected_hot_until: datetime | None
    expected_safe_at: datetime | None


class Followed(RecordShown):
    """A record after readings."""

    new: int
    behind_minutes: float | None


class ReadingShown(BaseModel):
    """A temperature in the studio's unit."""

    at: datetime
    temperature: float


class NoticeShown(BaseModel):
    """A notice; ``offer`` is what a re-plan may be asked with."""

    id: int
    kind: str
    at: datetime
    text: str
    record: int | None
    person: int | None
    offer: dict[str, Any] | None
    seen_at: datetime | None


class Question(Body):
    """A load that somebody asks about."""

    model_config = _as(load=_EXAMPLE_LOAD)

    load: NewLoad


class OfferShown(BaseModel):
    """A day on which the load could be out, and what that costs others."""

    day: date
    out_at: datetime
    kiln: str
    shares_with: list[str]
    price: float


class PromiseShown(BaseModel):
    """When a load could be out with every promise kept, and the price of each earlier day."""

    offer: OfferShown | None
    earlier: list[OfferShown]
    why: str


class RuleShown(BaseModel):
    """The house's cost rule."""

    version: int
    rule: CostRule


class RuleChange(Versioned):
    """What the rule becomes."""

    model_config = _as(version=0, rule={"firing": 8.0, "litre": 0.05, "energy_factor": 1.1, "energy_by_mass": 0.5})

    rule: CostRule


class CostItem(BaseModel):
    """One load's part of one firing."""

    load: str
    firing: str
    kiln: str
    opened_at: datetime | None
    space_share: float
    mass_share: float
    litres: float
    price: float


class CostShown(BaseModel):
    """What one person's loads cost."""

    person: int | None
    owner: str
    currency: str
    total: float
    items: list[CostItem]


class NewFeed(Body):
    """A calendar link to make; ``subject`` the person's or the kiln's id."""

    model_config = _as(kind="kiln", subject="K1")

    kind: Literal["person", "kiln", "staff"] = "person"
    subject: Annotated[str, StringConstraints(max_length=60, pattern=r"^[^\x00]*$")] = ""


class FeedShown(BaseModel):
    """A calendar link."""

    id: int
    kind: Literal["person", "kiln", "staff"]
    subject: str
    created_at: datetime
    revoked_at: datetime | None


class FeedAdded(FeedShown):
    """A calendar link with its address, shown this once."""

    address: str


class ChangeShown(BaseModel):
    """One change: who, when, what, before and after."""

    id: int
    at: datetime
    who: str
    action: str
    kind: str
    key: str
    before: dict[str, Any] | None
    after: dict[str, Any] | None


class DutyShown(BaseModel):
    """When somebody is there."""

    model_config = ConfigDict(populate_by_name=True)

    begins: datetime = Field(alias="from")
    ends: datetime = Field(alias="to")
    who: str | None
    hands: int
    skills: list[str] = []


class DayShown(BaseModel):
    """A day of the published plan."""

    date: date
    timezone: str
    publication: int
    plan: int
    there: list[DutyShown]
    kilns: list[dict[str, Any]]
    tasks: list[dict[str, Any]]


class FitShown(BaseModel):
    """A kiln's model fitted to its recorded firings."""

    kiln: str
    firings: int
    residual_k: float
    undetermined: list[str]
    body: PartBody
    version: int


class Health(BaseModel):
    """That the service answers."""

    status: Literal["ok"]


class Ready(BaseModel):
    """That the service can do its work."""

    status: Literal["ready"]
    database: Literal["sqlite", "postgresql"]
    publication: int
