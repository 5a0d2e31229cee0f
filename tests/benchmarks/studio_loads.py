"""The loads of a generated studio: what waits, for whom, how large, and until when.

Follows the trade's workload figures: piece sizes, two-stage work, class days with one date for all, promises for two
loads in five, booked hot sessions. Loads are sized so that the kilns of each kind of work are used to the share
asked for, whatever the number of loads.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from random import Random
from typing import Any

from shared.calendar import OnDuty, on_duty, quiet_spans
from shared.clock import Minute, local_time, wall_minute
from shared.kilns import Kiln
from shared.loads import Load, area_on_last_layer_cm2
from shared.studio import Studio
from shared.units import duration_text
from tests.benchmarks.studio_profiles import BISQUE, BURNOUT, ENAMEL, GLASS, GLAZE, METAL_CLAY, round_temperature

OCCUPATION_HOURS = {BISQUE: 46.0, GLAZE: 42.0, GLASS: 36.0, BURNOUT: 26.0, ENAMEL: 9.0, METAL_CLAY: 16.0}
"""How long a firing keeps a kiln, from loading until somebody has unloaded it [h]; derived from common practice and
staffed hours, only to size the work."""

PACKED = 0.55
"""Part of a kiln that an ordinary firing fills [-], since clay bodies, dates and sizes seldom match; judgement."""

SHARE_OF_LOADS = {BISQUE: 1.0, GLAZE: 1.0, GLASS: 1.1, BURNOUT: 0.8, ENAMEL: 0.8, METAL_CLAY: 0.8}
"""Loads of a kind of work for each kiln that fires it, against the others [-]; judgement."""

TWO_STAGE = {GLAZE: ("bisque", 0.35), "slump": ("fuse", 0.5), "bronze-box": ("binder", 0.6)}
"""Second stages: the profile of the first, and how many of them have one in the same horizon [-]; judgement."""

_PIECES = (  # width, depth, height [mm], mass [kg], thickest part [mm], weight: mug, bowl, tile, plate, tall, sculpture
    ((90, 90, 110, 0.42, 6), 40),
    ((160, 160, 80, 0.75, 8), 20),
    ((100, 100, 20, 0.25, 8), 20),
    ((250, 250, 30, 1.2, 9), 8),
    ((120, 120, 290, 1.3, 9), 7),
    ((250, 250, 340, 6.0, 26), 5),
)
_FLASKS = (((64, 64, 0.5), 50), ((89, 100, 1.4), 35), ((100, 190, 3.3), 15))  # diameter, height [mm], mass [kg]
_GLASS_MM = ((6, 70), (10, 20), (19, 10))
_BODIES = {"dark stoneware": 1250.0, "light stoneware": 1240.0, "red earthenware": 1120.0}
_OWNERS = ("Mon class", "Tue class", "Thu class", "Sat class", "Members", "Ada", "Bela", "Cyra", "Dov", "Edda", "Finn")


@dataclass(slots=True)
class _Desk:
    """What is known while the loads are written."""

    rng: Random
    studio: Studio
    begin: Minute
    end: Minute
    use: float
    loads: list[Load] = field(default_factory=list)
    booked: dict[str, list[tuple[Minute, Minute]]] = field(default_factory=dict)

    def kilns(self, work: str) -> list[Kiln]:
        return [kiln for kiln in self.studio.kilns if work in kiln.work]

    def pick(self, weighted: Sequence[tuple[Any, int]]) -> Any:
        return self.rng.choices([value for value, _ in weighted], [weight for _, weight in weighted])[0]

    def day_time(self, days: float, minute_of_day: int) -> Minute:
        zone = self.studio.place.zone
        day = local_time(self.begin, zone).date() + timedelta(days=int(days))
        return wall_minute(day, minute_of_day, zone)


def make_loads(rng: Random, studio: Studio, count: int, begin: Minute, end: Minute, use: float) -> tuple[Load, ...]:
    """``count`` loads for ``[begin, end)`` that use about ``use`` of the kilns' time."""
    desk = _Desk(rng, studio, begin, end, use)
    works = sorted({profile.work for profile in studio.profiles})
    weights = {work: SHARE_OF_LOADS[work] * len(desk.kilns(work)) for work in works}
    counts = {work: int(count * weights[work] / sum(weights.values())) for work in works}
    for number in range(count - sum(counts.values())):
        counts[works[number % len(works)]] += 1
    for work in works:
        for _ in range(counts[work]):
            _add(desk, work, counts[work])
    return tuple(desk.loads)


def _add(desk: _Desk, work: str, of_its_kind: int) -> None:
    """One more load of a kind of work."""
    rng = desk.rng
    kilns = desk.kilns(work)
    # Sized for one of the kilns, so that small kilns get work too; what fits that one may fit others.
    sized_for = rng.choice(kilns)
    days = (desk.end - desk.begin) / 1440
    # A kiln that fires two kinds gives each half of its time.
    time_h = sum(24.0 * days * desk.use / len(set(kiln.work)) for kiln in kilns)
    fill = min(0.8, PACKED * time_h / OCCUPATION_HOURS[work] / of_its_kind)
    columns: dict[str, Any] = {
        "id": f"L{len(desk.loads) + 1:03d}",
        "owner": rng.choice(_OWNERS),
        "profile": _profile(desk, work),
        "priority": rng.choice((1, 1, 1, 2, 3, 5)),
    }
    columns["stream"] = "student" if "class" in columns["owner"] else "production"
    columns |= _dates(desk, columns["stream"])
    columns |= _pieces(desk, work, columns["profile"], fill, sized_for)
    _later_stage(desk, work, columns)
    if work in (BURNOUT, ENAMEL):
        _session(desk, work, columns, time_h, of_its_kind)
    desk.loads.append(Load.model_validate(columns))


def _profile(desk: _Desk, work: str) -> str:
    choices = {
        BISQUE: (("bisque", 95), ("bisque-slow", 5)),
        GLAZE: (("glaze-6", 70), ("glaze-05", 30)),
        GLASS: (("fuse", 60), ("slump", 40)),
        METAL_CLAY: (("silver", 50), ("binder", 25), ("bronze-box", 25)),
    }
    return str(desk.pick(choices[work])) if work in choices else work


def _dates(desk: _Desk, stream: str) -> dict[str, Any]:
    """Ready: half of it waits already, the rest comes in the first half. Promised: two loads in five."""
    rng, days = desk.rng, (desk.end - desk.begin) / 1440
    columns: dict[str, Any] = {}
    arrives = 0.0
    if rng.random() < 0.5:
        arrives = rng.uniform(0.0, 0.5 * days)
        # Class evenings bring a burst at the same minute, others come during the day.
        columns["ready"] = desk.day_time(arrives, 21 * 60 + 30 if stream == "student" else 15 * rng.randint(36, 72))
    kind = desk.pick((("none", 60), ("class end", 25), ("market", 10), ("rush", 5)))
    if kind == "class end":
        columns["promised"] = desk.day_time(days - 1, 18 * 60)
    elif kind == "market":
        columns["promised"] = desk.day_time(min(days - 1, max(6.0, arrives + 3)), 9 * 60)
    elif kind == "rush":
        columns["promised"] = desk.day_time(arrives + rng.randint(2, 5), 17 * 60)
    return columns


def _pieces(desk: _Desk, work: str, profile: str, fill: float, kiln: Kiln) -> dict[str, Any]:
    """Footprint, height, mass and sizes of a load that takes about ``fill`` of a kiln."""
    rng = desk.rng
    columns: dict[str, Any] = {}
    if work in (BISQUE, GLAZE):
        fitting = [
            (p, w) for p, w in _PIECES if p[2] + kiln.shelf_gap_mm < kiln.height_mm and p[0] < min(kiln.inside_mm)
        ]
        width, depth, height, mass, thick = desk.pick(fitting)
        if profile == "bisque":
            columns["thickness_mm"] = min(16, thick)
        each = (width + 6) * (depth + 6) / 100
        bodies = ["dark stoneware", "light stoneware"] if profile == "glaze-6" else list(_BODIES)
        body = rng.choice(bodies)
        if profile == "glaze-6" and rng.random() < 0.01:
            body = "red earthenware"  # the wrong clay: no kiln may take it
        columns |= {
            "family": body,
            "max_temperature_c": round_temperature(_BODIES[body], desk.studio.place.temperature),
        }
    elif work == BURNOUT:
        diameter, height, mass = desk.pick(_FLASKS)
        columns |= {"diameter_mm": diameter, "family": rng.choice(("wax", "wax", "resin"))}
        each = (diameter + 15) ** 2 / 100
    elif work == GLASS:
        thick = desk.pick(_GLASS_MM)
        height = thick if profile == "fuse" else rng.choice((20, 40, 70))
        columns |= {"thickness_mm": thick, "family": rng.choice(("art glass", "float glass"))}
        side = rng.choice((80, 120, 200))
        each, mass = (side + 12) ** 2 / 100, side * side * thick * 2.5e-6
    else:
        height = 110 if profile == "bronze-box" else rng.choice((15, 25))
        each, mass = (25.0, 0.35) if profile == "bronze-box" else (20.0, 0.03)
        columns["family"] = {"silver": "silver", "enamel": "copper"}.get(profile, "bronze")
    gap = kiln.shelf_gap_mm
    area = fill * rng.uniform(0.6, 1.4) * kiln.shelf_area_cm2 * kiln.height_mm / (height + gap)
    pieces = max(1, round(area / each))
    while pieces > 1 and not _fits(pieces, each, height, kiln):
        pieces -= 1
    return columns | {
        "pieces": pieces,
        "footprint_cm2": round(pieces * each, 1),
        "height_mm": height,
        "mass_kg": max(0.01, round(pieces * mass * rng.uniform(0.85, 1.15), 2)),
    }


def _fits(pieces: int, each_cm2: float, height_mm: float, kiln: Kiln) -> bool:
    load = Load(id="x", profile="x", pieces=pieces, footprint_cm2=pieces * each_cm2, height_mm=height_mm, mass_kg=1.0)
    whole, _ = area_on_last_layer_cm2(load, kiln.shelf_area_cm2)
    return (whole + 1) * (height_mm + kiln.shelf_gap_mm) <= kiln.height_mm


def _later_stage(desk: _Desk, work: str, columns: dict[str, Any]) -> None:
    """Ties some second stages to an earlier load of the same owner's that nobody else follows."""
    first, share = TWO_STAGE.get(work, TWO_STAGE.get(columns["profile"], ("", 0.0)))
    if desk.rng.random() >= share:
        return
    taken = {load.after for load in desk.loads}
    body = columns["family"]
    free = [load for load in desk.loads if load.profile == first and load.family == body and load.id not in taken]
    if not free:
        return
    earlier = desk.rng.choice(free)
    columns |= {"after": earlier.id, "gap_hours": desk.rng.choice((2, 6, 12, 24)), "owner": earlier.owner}
    columns |= {"stream": earlier.stream, "ready": None}


def _session(desk: _Desk, work: str, columns: dict[str, Any], time_h: float, of_its_kind: int) -> None:
    """The length of a hot session, and for a third of them its booked time, where a caster or enameller is in."""
    rng = desk.rng
    wish_h = time_h / of_its_kind * (0.08 if work == BURNOUT else 0.25)
    minutes = 15 * max(1, min(10, round(wish_h * 4 * rng.uniform(0.6, 1.3))))
    columns["session_hours"] = duration_text(minutes)
    if rng.random() > 0.35:
        return
    skill = {BURNOUT: "casting", ENAMEL: "enamelling"}[work]
    lead_minutes = 24 * 60 if work == BURNOUT else 2 * 60 + 30
    heats_minutes = 18 * 60 if work == BURNOUT else lead_minutes
    earliest = max(desk.begin, columns.get("ready") or desk.begin) + lead_minutes
    slots = [
        at
        for duty in on_duty(desk.studio, earliest, desk.end)
        if skill in duty.shift.skills
        for at in _slots(duty, work, minutes)
        if at >= earliest and not _is_disturbed(desk, work, at - heats_minutes, at + minutes)
    ]
    taken = desk.booked.setdefault(work, [])
    # One booking a day and kind of work leaves the hands and the kiln for it.
    slots = [at for at in slots if all(end + 20 * 60 <= at or at + minutes + 20 * 60 <= begin for begin, end in taken)]
    if not slots:
        return
    at = rng.choice(slots)
    taken.append((at, at + minutes))
    columns["session_at"] = at
    if columns.get("promised") is not None:
        columns["promised"] = at + minutes + 60


def _slots(duty: OnDuty, work: str, minutes: int) -> list[Minute]:
    # A muffle heats only with somebody there, so the same shift must cover its heating and the session.
    first = duty.begin + (150 if work == ENAMEL else 60)
    return list(range(first, duty.end - minutes - 30, 30))


def _is_disturbed(desk: _Desk, work: str, begin: Minute, end: Minute) -> bool:
    quiet = any(q.work is None or work in q.work for q in quiet_spans(desk.studio, begin, end))
    kilns = {kiln.id for kiln in desk.kilns(work)}
    out = any(o.kiln in kilns and o.begins < end and (o.ends is None or begin < o.ends) for o in desk.studio.outages)
    return quiet or out
