"""Studios in which one known rule keeps one load from being out in time: eight kinds, five of each.

Every number that makes the rule bind is in the builder's own lines; ``Random`` only picks days, amperes and masses.
A load of the plain studio takes half an hour to load, three hours to heat, and cools shut until some ten hours after
the start; so it is out ten and a half hours after loading began, at the earliest (`plain_studio`, by the model).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from shared.kilns import Circuit
from shared.loads import Load
from shared.profiles import Profile, Segment
from shared.studio import Outage, Prices, Quiet, Rules, Shift, Studio
from tests.scheduler.planning.plain_studio import EVERY_DAY, bench_kiln, clock, load, slow_profile, studio

PRICES = Prices(late_hour=20.0, unplaced=5000.0, firing=4.0, moved=2.0)
"""Lateness is dear, so that no plan is late because that is cheaper."""

HOT = slow_profile(
    "burnout",
    work="burnout",
    unload="hot",
    unload_below_c=None,
    skill="casting",
    own_segments=(Segment(rate_k_per_hour=100.0, to_c=420.0, hold_minutes=60.0, hold_up_to_minutes=240.0),),
)
OTHER = slow_profile("else", work="else", own_segments=(Segment(rate_k_per_hour=100.0, to_c=150.0, hold_minutes=60.0),))


@dataclass(frozen=True)
class Planted:
    """A studio, its loads, and the load that the rule keeps late or out."""

    rule: str
    studio: Studio
    loads: tuple[Load, ...]
    late: str


def full(name: str, **changes: object) -> Load:
    """A load that fills the bench kiln."""
    return load(name, footprint_cm2=850.0, height_mm=200.0, **changes)


def beside(random: Random) -> tuple[Load, ...]:
    """Loads of another kind of work that wait in the same studio."""
    return tuple(load(f"O{n}", profile="else", mass_kg=random.uniform(0.5, 3.0)) for n in range(random.randint(0, 3)))


def place(kilns: tuple[object, ...] = (bench_kiln(),), **changes: object) -> Studio:
    profiles: tuple[Profile, ...] = (slow_profile(), HOT, OTHER)
    circuits = changes.pop("circuits", (Circuit(id="main", breaker_amps=1000.0), Circuit(id="far", breaker_amps=100.0)))
    rules = changes.pop("rules", Rules(horizon_days=4))
    far = bench_kiln("KX", work=("else",), circuit="far", max_temperature_c=200.0)  # too cool for the planted load
    return studio(kilns=(*kilns, far), profiles=profiles, circuits=circuits, prices=PRICES, rules=rules, **changes)  # type: ignore[arg-type]


def hands(random: Random) -> Planted:
    """Somebody loads in the morning, and nobody is there to open before the promise."""
    day = random.randint(0, 1)
    shifts = (
        Shift(days=EVERY_DAY[day : day + 1], opens="09:00", closes=f"1{random.randint(0, 1)}:00", hands=1),
        Shift(days=EVERY_DAY[day + 1 : day + 2], opens="15:00", closes="19:00", hands=1),
    )
    wanted = load("L", promised=clock("11:00", day + 1), mass_kg=random.uniform(0.5, 2.0))
    return Planted("hands", place(shifts=shifts), (wanted,), "L")


def skills(random: Random) -> Planted:
    """Hands are there all day, but none that may cast before the promise."""
    opens = random.choice(("08:00", "09:00"))
    shifts = (
        Shift(days=EVERY_DAY, opens=opens, closes="21:00", hands=2),
        Shift(days=("thu",), opens=opens, closes="21:00", hands=1, skills=("casting",)),
    )
    kilns = (bench_kiln(work=("firing", "burnout")),)
    wanted = load(
        "L", profile="burnout", session_minutes=60.0, promised=clock("21:00", random.randint(1, 2)), mass_kg=2.0
    )
    return Planted("skills", place(kilns, shifts=shifts), (wanted,), "L")


def circuit_amps(random: Random) -> Planted:
    """Two kilns of 20 A on a breaker that carries one of them."""
    breaker = float(random.choice((25, 32, 40)))  # at most 32 A of continuous load; both draw 40 A
    circuits = (Circuit(id="main", breaker_amps=breaker), Circuit(id="far", breaker_amps=100.0))
    kilns = (bench_kiln("K1"), bench_kiln("K2"))
    by = clock(f"1{random.randint(1, 2)}:00")
    loads = (full("A", promised=by, priority=9), full("L", promised=by))
    return Planted("circuit_amps", place(kilns, circuits=circuits), (*loads, *beside(random)), "L")


def attendance(random: Random) -> Planted:
    """Ready so late in the shift that it could be started only when everybody has left."""
    closes = random.randint(11, 14)
    shifts = (Shift(days=EVERY_DAY, opens="09:00", closes=f"{closes}:00", hands=2),)
    wanted = load("L", ready=clock(f"{closes - 1}:30"), promised=clock("10:00", 1), mass_kg=random.uniform(0.5, 2.0))
    rules = Rules(horizon_days=4, unattended_start=False)
    return Planted("attendance", place(shifts=shifts, rules=rules), (wanted,), "L")


def quiet(random: Random) -> Planted:
    """Nothing may heat all day."""
    begins = random.randint(1, 2)
    still = Quiet(days=("mon",), begins=f"0{begins}:00", ends=f"2{random.randint(0, 3)}:00", work=("firing",))
    wanted = load("L", ready=clock("00:30"), promised=clock(f"1{random.randint(3, 9)}:00"))
    return Planted("quiet", place(quiet=(still,)), (wanted, *beside(random)), "L")


def shares_firing(random: Random) -> Planted:
    """One firing before the kiln goes out of order, and a mate for it that is ready late."""
    ready = random.randint(5, 7)
    outage = Outage(kiln="K1", begins=clock("20:00"), reason="elements")
    wanted = load("L", promised=clock("12:00"))
    mate = load("M", ready=clock(f"0{ready}:00"), mass_kg=random.uniform(0.5, 1.5))
    return Planted("shares_firing", place(outages=(outage,)), (wanted, mate, *beside(random)), "L")


def work_fits_kiln(random: Random) -> Planted:
    """One kiln taken by work that is dearer; another stands idle, and may not take the load."""
    by = clock(f"1{random.randint(1, 3)}:00")
    dear = full("A", promised=by, priority=9, kilns=("K1",))
    if random.random() < 0.5:
        kilns, wanted = (bench_kiln("K1"), bench_kiln("K2")), full("L", promised=by, kilns=("K1",))
    else:
        kilns, wanted = (bench_kiln("K1"), bench_kiln("K2", work=("tests",))), full("L", promised=by)
    return Planted("work_fits_kiln", place((*kilns,)), (dear, wanted), "L")


def computed_times(random: Random) -> Planted:
    """Promised sooner than any kiln could fire and cool it."""
    wanted = load("L", promised=clock(f"0{random.randint(5, 9)}:00"), mass_kg=random.uniform(0.5, 3.0))
    return Planted("computed_times", place(), (wanted, *beside(random)), "L")


KINDS: tuple[Callable[[Random], Planted], ...] = (
    hands, skills, circuit_amps, attendance, quiet, shares_firing, work_fits_kiln, computed_times,
)  # fmt: skip


def planted() -> list[Planted]:
    """The forty: eight kinds, five of each."""
    return [kind(Random(f"{kind.__name__} {number}")) for kind in KINDS for number in range(5)]
