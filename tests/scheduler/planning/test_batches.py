"""Which loads may be fired together, which kilns may fire them, and what is remembered of both."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.planning import batches as module
from scheduler.planning.batches import Batches
from scheduler.planning.heats import Heats, energy_costs
from shared.loads import Load
from shared.profiles import Profile, Segment, SizeRow
from tests.scheduler.planning.plain_studio import bench_kiln, clock, load, problem_of, slow_profile, studio

KILNS = (
    bench_kiln("K1"),
    bench_kiln("K2", vented=True),
    bench_kiln("K3", max_temperature_c=200.0),  # "warm" and "fumes" ask for 220 °C
    bench_kiln("K4", work=("drying",), vented=True),
    bench_kiln("K5", inside_mm=(300.0, 300.0, 120.0)),
)
PROFILES = (slow_profile(), slow_profile("fumes", vent=True), slow_profile("dry", work="drying"))


def to(peak_c: float) -> tuple[Segment, ...]:
    return (Segment(rate_k_per_hour=100.0, to_c=peak_c),)


SIZED = Profile(
    id="warm",
    work="firing",
    unload_below_c=60.0,
    sized_by="thickness_mm",
    sizes=(SizeRow(up_to=10.0, segments=to(150.0)), SizeRow(up_to=20.0, segments=to(220.0))),
)


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
    batches = of(load("A", thickness_mm=8.0), load("B", thickness_mm=12.0), profiles=(SIZED,))
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
    costs = energy_costs(batches.problem, fit.phases)
    batches.make("warm", (1,))
    batches.make("warm", (2,))  # the third: the first two are forgotten
    assert batches.make("warm", (0,)) is not first
    again = batches.fit(first, 0)
    assert again is not None
    assert again is not fit
    assert (again.layers, again.phases) == (fit.layers, fit.phases)
    assert len(again.phases.energy) == 0
    assert np.array_equal(energy_costs(batches.problem, again.phases), costs)


def fired(batches: Batches, profile: str, *loads: int) -> bool:
    return batches.make(profile, loads) is not None


def test_a_load_that_wants_to_be_alone_is_fired_alone_only() -> None:
    batches = of(load("A", alone=True), load("B"))
    assert fired(batches, "warm", 0)
    assert not fired(batches, "warm", 0, 1)


def test_two_stages_of_the_same_pieces_are_never_in_one_firing() -> None:
    batches = of(load("A"), load("B", after="A"), load("C"))
    assert fired(batches, "warm", 0, 2)
    assert fired(batches, "warm", 1, 2)
    assert not fired(batches, "warm", 0, 1)
    assert not fired(batches, "warm", 0, 1, 2)


def test_loads_of_one_booked_session_share_a_firing_and_those_of_two_do_not() -> None:
    booked = [load(name, session_at=clock(at)) for name, at in (("A", "10:00"), ("B", "10:00"), ("C", "11:00"))]
    batches = of(*booked, load("D"), load("E", session_at=clock("10:00") + 1))
    batch = batches.make("warm", (0, 1, 3))
    assert batch is not None
    assert batches.problem.minute(batch.session_slot) == clock("10:00")
    assert not fired(batches, "warm", 0, 2, 3)
    assert not fired(batches, "warm", 4)  # a minute that no slot begins with


def test_a_profile_for_one_family_takes_no_load_of_another_be_it_the_host_or_a_guest() -> None:
    profiles = (slow_profile(shares_with=("clear",)), slow_profile("clear", one_family=True))
    loads = (load("A", family="red"), load("B", family="blue"), load("C", profile="clear", family="red"))
    batches = of(*loads, load("D", profile="clear", family="Red"), profiles=profiles)
    assert fired(batches, "warm", 0, 1)
    assert fired(batches, "warm", 0, 2)
    assert not fired(batches, "warm", 1, 2)
    assert fired(batches, "clear", 2, 3)  # case does not matter


def test_a_guest_is_taken_by_a_host_that_names_it_and_never_without_a_load_of_the_host() -> None:
    profiles = (slow_profile(shares_with=("other", "fumes")), slow_profile("other"), slow_profile("fumes", vent=True))
    batches = of(load("A"), load("B", profile="other"), load("C", profile="fumes"), profiles=profiles)
    assert fired(batches, "warm", 0, 1)
    assert not fired(batches, "other", 0, 1)
    assert not fired(batches, "warm", 1)
    assert not fired(batches, "warm", 0, 2)  # the host has no vent


def test_a_load_that_stands_less_heat_than_a_larger_one_needs_is_not_fired_with_it() -> None:
    weak = load("A", thickness_mm=8.0, max_temperature_c=200.0)
    batches = of(weak, load("B", thickness_mm=9.0), load("C", thickness_mm=12.0), profiles=(SIZED,))
    assert fired(batches, "warm", 0, 1)
    assert fired(batches, "warm", 1, 2)
    assert not fired(batches, "warm", 0, 2)
    assert not fired(of(load("A", thickness_mm=21.0), profiles=(SIZED,)), "warm", 0)  # larger than every row


def test_a_batch_is_ready_with_its_last_load_and_sums_what_its_loads_take() -> None:
    loads = (load("A", ready=clock("8:00")), load("B", ready=clock("9:00"), promised=clock("12:00"), mass_kg=2.5))
    batches = of(*loads, load("C"))
    batch = batches.make("warm", (2, 0, 1))
    assert batch is not None
    assert batch.loads == (0, 1, 2)
    assert batches.problem.minute(batch.ready) == clock("9:00")
    assert (batch.ware_kg, batch.area_cm2, batch.volume) == (4.5, 900.0, 90_000.0)
    assert [at for at, *_ in batch.promises] == [clock("12:00") - batches.problem.begin]
