"""Which kilns may fire a batch, and what is remembered of it."""

from __future__ import annotations

import pytest

from scheduler.planning import batches as module
from scheduler.planning.batches import Batches
from scheduler.planning.heats import Heats
from shared.loads import Load
from shared.profiles import Profile, Segment, SizeRow
from tests.scheduler.planning.plain_studio import bench_kiln, load, problem_of, slow_profile, studio

KILNS = (
    bench_kiln("K1"),
    bench_kiln("K2", vented=True),
    bench_kiln("K3", max_temperature_c=200.0),  # "warm" and "fumes" ask for 220 °C
    bench_kiln("K4", work=("drying",), vented=True),
    bench_kiln("K5", inside_mm=(300.0, 300.0, 120.0)),
)
PROFILES = (slow_profile(), slow_profile("fumes", vent=True), slow_profile("dry", work="drying"))


def of(*loads: Load, profiles: tuple[Profile, ...] = PROFILES) -> Batches:
    problem = problem_of(studio(KILNS, profiles), loads)
    return Batches(problem, Heats(problem))


def may(batches: Batches, profile: str, *loads: int) -> tuple[int, ...]:
    batch = batches.make(profile, loads)
    assert batch is not None
    return batches.kilns_that_may(batch)


def test_a_kiln_may_fire_what_has_its_work_its_heat_and_where_asked_for_its_vent() -> None:
    batches = of(load("A"), load("B", profile="fumes"), load("C", profile="dry"))
    assert may(batches, "warm", 0) == (0, 1, 4)
    assert may(batches, "fumes", 1) == (1,)
    assert may(batches, "dry", 2) == (3,)


def test_the_kilns_that_loads_name_are_those_that_all_of_them_name() -> None:
    batches = of(load("A", kilns=("K5", "K1")), load("B", kilns=("K1", "K2")), load("C"), load("D", kilns=("K2",)))
    assert may(batches, "warm", 0) == (0, 4)
    assert may(batches, "warm", 0, 1) == may(batches, "warm", 0, 1, 2) == (0,)
    assert may(batches, "warm", 0, 3) == ()


def test_a_larger_row_of_a_profile_may_be_too_hot_for_a_kiln() -> None:
    def to(peak_c: float) -> tuple[Segment, ...]:
        return (Segment(rate_k_per_hour=100.0, to_c=peak_c),)

    rows = (SizeRow(up_to=10.0, segments=to(150.0)), SizeRow(up_to=20.0, segments=to(220.0)))
    sized = Profile(id="warm", work="firing", unload_below_c=60.0, sized_by="thickness_mm", sizes=rows)
    batches = of(load("A", thickness_mm=8.0), load("B", thickness_mm=12.0), profiles=(sized,))
    assert may(batches, "warm", 0) == (0, 1, 2, 4)
    assert may(batches, "warm", 0, 1) == (0, 1, 4)


def test_a_kiln_that_may_has_a_fit_only_where_there_is_room() -> None:
    batches = of(load("A"), load("B", height_mm=120.0))  # 120 mm and furniture are more than K5 is high
    for number, kilns in ((0, [0, 1, 4]), (1, [0, 1])):
        batch = batches.make("warm", (number,))
        assert batch is not None
        assert batches.kilns_for(batch) == kilns
        assert [kiln for kiln in range(5) if batches.fit(batch, kiln) is not None] == kilns
        assert [kiln for kiln in range(5) if batches.charge(batch, kiln) is not None] == kilns


def test_a_fit_is_remembered_also_for_the_same_loads_wanted_at_any_price() -> None:
    batches = of(load("A", promised=problem_of(studio(), ()).begin))
    batch = batches.make("warm", (0,))
    assert batch is not None
    fit = batches.fit(batch, 0)
    assert fit is not None
    assert batches.fit(batch.at_any_price(), 0) is batches.fit(batch, 0) is fit


def test_an_exact_fit_has_the_real_mass_and_is_kept_beside_the_ladder_s_step() -> None:
    batches = of(load("A", mass_kg=1.04))  # the next step of the ladder (IEC 60063, E24) is 1.1
    batch = batches.make("warm", (0,))
    assert batch is not None
    masses = []
    for exact in (False, True, False, True):
        batches.exact = exact
        fit = batches.fit(batch, 0)
        assert fit is not None
        masses.append(fit.phases.charge.ware_kg)
    assert masses == [1.1, 1.04, 1.1, 1.04]


def test_batches_and_their_fits_are_forgotten_together_when_there_are_too_many(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_KEPT", 2)
    batches = of(*(load(name) for name in "ABC"))
    first = batches.make("warm", (0,))
    assert first is not None
    fit = batches.fit(first, 0)
    assert fit is not None
    batches.make("warm", (1,))
    batches.make("warm", (2,))  # the third: the first two are forgotten
    assert batches.make("warm", (0,)) is not first
    again = batches.fit(first, 0)
    assert again is not None
    assert again is not fit
    assert (again.layers, again.phases) == (fit.layers, fit.phases)
