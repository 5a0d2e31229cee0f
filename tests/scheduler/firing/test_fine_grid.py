"""Every phase time within 1 % of a stiff integrator's on a fine grid; the benchmark script does forty pairs."""

from __future__ import annotations

import pytest


@pytest.mark.parametrize("seed", range(12))
def test_every_phase_time_is_within_one_percent_of_the_stiff_integrator(benchmark_script, seed: int) -> None:
    """scipy's BDF on 48 wall cells, in an independent formulation (tests/benchmarks/firing_fine_grid.py).

    Twelve of its random kilns and profiles, all kinds of work; seeds 0 to 39 are done by the script.
    """
    pair = benchmark_script("firing_fine_grid").compare(seed)
    assert pair is not None, "seeds 0 to 39 all reach their targets"
    _, model, fine = pair
    assert len(model) == len(fine)
    assert model == pytest.approx(fine, rel=0.01)
