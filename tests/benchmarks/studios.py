"""Random studios for tests and benchmarks: places of one to forty kilns with the work that waits in them.

The same arguments give the same studio. Nothing here knows the sample studio.
"""

from __future__ import annotations

from datetime import date, timedelta
from random import Random
from zoneinfo import ZoneInfo

from shared.clock import Minute, wall_minute
from shared.kilns import Kiln
from shared.loads import Load
from shared.studio import Band, Closed, Outage, Place, Quiet, Rules, Shift, Studio, Tariff
from shared.units import TemperatureUnit
from tests.benchmarks.studio_kilns import make_kilns, make_supply
from tests.benchmarks.studio_loads import make_loads
from tests.benchmarks.studio_profiles import BISQUE, BURNOUT, make_profiles, round_temperature

_WEEK = ("mon", "tue", "wed", "thu", "fri")
_NAMES = ("Alder", "Bracken", "Cobble", "Dunnock", "Elder", "Fallow", "Gorse", "Hazel", "Ivy", "Juniper")
_KINDS = ("Shed", "Loft", "Yard", "Barn", "Annexe")
SKILLS = ("casting", "enamelling")


def make_studio(
    seed: int,
    kilns: int,
    loads: int,
    unit: TemperatureUnit = "C",
    timezone: str = "Europe/Lisbon",
    start: date = date(2026, 11, 30),
) -> tuple[Studio, tuple[Load, ...], Minute]:
    """A studio, what waits in it, and the evening before ``start`` at which its plan is made.

    Parameters
    ----------
    seed
        Picks the studio; every number in it follows.
    kilns, loads
        How many [-], 1 to 40 and 5 to 1000.
    unit
        The temperature unit that it writes in.
    timezone
        IANA name; its kilns are plated for the supply of that part of the world.
    start
        The first day of the plan, which begins at its local midnight.

    Examples
    --------
    >>> studio, waiting, now = make_studio(1, kilns=4, loads=20)
    >>> len(studio.kilns), len(waiting)
    (4, 20)
    """
    if not 1 <= kilns <= 40 or not 5 <= loads <= 1000:
        raise ValueError("a generated studio has 1 to 40 kilns and 5 to 1000 loads")
    rng = Random(f"{seed} {kilns} {loads} {unit} {timezone} {start}")
    circuits, plates = make_kilns(rng, kilns, make_supply(rng, kilns, timezone), unit)
    zone = ZoneInfo(timezone)
    horizon_days = rng.choice((10, 12, 14))
    studio = Studio(
        place=Place(
            name=f"{rng.choice(_NAMES)} {rng.choice(_KINDS)} {seed}",
            timezone=timezone,
            temperature=unit,
            currency="USD" if timezone.startswith("America/") else "EUR",
            room_c=round_temperature(rng.choice((15.0, 20.0, 25.0)), unit),
        ),
        shifts=_shifts(rng, kilns),
        closed=_closed(rng, start),
        circuits=tuple(circuits),
        kilns=tuple(plates),
        outages=_outages(rng, plates, start, zone),
        tariff=_tariff(rng),
        rules=Rules(
            load_below_c=round_temperature(60.0, unit),
            grid_minutes=rng.choice((5, 5, 10, 15)),
            horizon_days=horizon_days,
            unattended_start=rng.random() < 0.85,
        ),
        quiet=_quiet(rng, plates),
        profiles=make_profiles({work for kiln in plates for work in kiln.work}, unit),
    )
    begin = wall_minute(start, 0, zone)
    end = wall_minute(start + timedelta(days=horizon_days), 0, zone)
    waiting = make_loads(rng, studio, loads, begin, end, use=rng.uniform(0.7, 1.0))
    return studio, waiting, wall_minute(start - timedelta(days=1), 18 * 60, zone)


def _shift(days: tuple[str, ...], opens: str, closes: str, hands: int, skills: tuple[str, ...] = ()) -> Shift:
    return Shift.model_validate({"days": days, "from": opens, "to": closes, "hands": hands, "skills": skills})


def _shifts(rng: Random, kilns: int) -> tuple[Shift, ...]:
    """Who is there, by the size of the place: an owner, a community room, an art school, a works on two shifts."""
    if kilns <= 2:
        return (_shift(_WEEK, "16:30", "22:00", 1, SKILLS), _shift(("sat", "sun"), "09:00", "19:00", 1, SKILLS))
    if kilns <= 8:
        return (
            _shift((*_WEEK, "sat", "sun"), "09:00", "17:00", rng.choice((1, 2)), ("casting",)),
            _shift(("mon", "wed"), "17:00", "21:00", 1),
            _shift(("tue", "thu"), "13:00", "21:30", 1, ("enamelling",)),
            _shift(("sat",), "10:00", "16:00", 1, SKILLS),
        )
    if kilns <= 20:
        hands = -(-kilns // 5)
        return (
            _shift(_WEEK, "09:00", "18:00", hands, ("casting",)),
            _shift(("mon", "wed", "fri"), "09:30", "17:00", 2, ("enamelling",)),
            _shift(("tue", "thu"), "18:00", "21:30", 2, SKILLS),
            _shift(("sat",), "10:00", "15:00", 2, SKILLS),
        )
    hands = -(-kilns // 6)
    return (
        _shift((*_WEEK, "sat"), "06:00", "14:00", hands, SKILLS),
        _shift((*_WEEK, "sat"), "14:00", "00:30", hands, ("enamelling",)),
    )


def _closed(rng: Random, start: date) -> tuple[Closed, ...]:
    if rng.random() < 0.5:
        return ()
    day = start + timedelta(days=rng.randint(3, 8))
    return (Closed(first=day, last=day),)


def _outages(rng: Random, kilns: list[Kiln], start: date, zone: ZoneInfo) -> tuple[Outage, ...]:
    if len(kilns) < 3 or rng.random() < 0.4:
        return ()
    first = wall_minute(start + timedelta(days=rng.randint(1, 5)), 12 * 60, zone)
    return (
        Outage(kiln=rng.choice(kilns).id, begins=first, ends=first + 60 * rng.choice((24, 46, 70)), reason="element"),
    )


def _tariff(rng: Random) -> Tariff:
    day_price = round(rng.uniform(0.18, 0.34), 2)
    kind = rng.choice(("flat", "night", "peak"))
    if kind == "flat":
        return Tariff(default=day_price)
    opens, closes, factor = ("22:00", "07:00", 0.5) if kind == "night" else ("17:00", "21:00", 1.6)
    price = round(day_price * factor, 3)
    band = Band.model_validate({"days": _WEEK, "from": opens, "to": closes, "price": price})
    return Tariff(default=day_price, bands=(band,))


def _quiet(rng: Random, kilns: list[Kiln]) -> tuple[Quiet, ...]:
    """A children's class beside the kilns on two afternoons in some places; in few of them nothing may heat."""
    if len(kilns) > 20 or rng.random() < 0.4:
        return ()
    # Every place has a kiln that fires bisque, so the list is never empty.
    fumes = [work for work in (BISQUE, BURNOUT) if any(work in kiln.work for kiln in kilns)]
    work = None if rng.random() < 0.15 else fumes
    return (Quiet.model_validate({"days": ("tue", "thu"), "from": "15:30", "to": "17:00", "work": work}),)
