"""How long the phases of a firing take: computed once, and told to another process in a few words."""

from __future__ import annotations

import pickle
from unittest.mock import patch

import numpy as np

from scheduler.firing.simulate import simulate
from scheduler.planning.heats import Heats, energy_costs, least_energy
from scheduler.planning.session import lay_out
from shared.studio import Rules
from tests.scheduler.planning.plain_studio import BEGIN, bench_kiln, load, slow_profile, studio

POTS = slow_profile("pots", work="pots")
GLASS = slow_profile("glass", work="glass")
KILNS = (bench_kiln("K1", work=("pots",)), bench_kiln("K2", work=("pots",)), bench_kiln("K3", work=("glass",)))


def test_phases_that_are_known_are_not_computed_again() -> None:
    place = studio(kilns=KILNS, profiles=(POTS, GLASS))
    loads = (load("P", profile="pots"), load("G", profile="glass"))
    heats = lay_out(place, loads, BEGIN).heats
    known = heats.known()
    assert len(heats) == len(known) == 3  # pots in two kilns, glass in one
    assert list(heats.known(1)) == list(known)[1:]
    asked: list[int] = []

    def counted(requests: list[object]) -> object:
        asked.append(len(requests))
        return simulate(requests)  # type: ignore[arg-type]

    with patch("scheduler.planning.heats.simulate", counted):
        other = Heats(heats.problem)
        other.learn(known)
        assert [other.phases(charge) for charge in known] == list(known.values())
        assert not asked
        assert Heats(heats.problem).phases(next(iter(known))) is not None
        assert asked == [1]


def test_another_process_is_told_phases_without_what_it_can_work_out() -> None:
    place = studio(kilns=KILNS, profiles=(POTS, GLASS), rules=Rules(horizon_days=14))
    heats = lay_out(place, (load("P", profile="pots"),), BEGIN).heats
    (phases, *_) = heats.known().values()
    assert phases is not None
    costs, least = energy_costs(heats.problem, phases), least_energy(heats.problem, phases)
    sent = pickle.dumps(phases, protocol=pickle.HIGHEST_PROTOCOL)
    assert len(sent) < costs.nbytes / 2
    told = pickle.loads(sent)
    assert least_energy(heats.problem, told) == least
    assert np.array_equal(energy_costs(heats.problem, told), costs)
    times = [[one.charge, one.load, one.safe, one.cold, one.end_slot] for one in (phases, told)]
    assert times[0] == times[1]
