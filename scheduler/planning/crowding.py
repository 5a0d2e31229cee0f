"""Which kilns can never all heat at once: what the legs mean, said without amperes.

Two kilns of 24 A and 20 A on a leg of 40 A: by their amps, half of one and three quarters of the other fit at once; yet
either one heats or the other. For a relaxation the second is by far the stronger: these are the cover inequalities of
the knapsack that each leg is (Balas, Mathematical Programming 8 (1975) 146), and cliques of pairs over all legs.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from scheduler.planning.problem import Problem


@dataclass(frozen=True, slots=True)
class Crowd:
    """Kilns, by number, of which no more than ``at_most`` can heat at once."""

    kilns: frozenset[int]
    at_most: int


def crowds(problem: Problem) -> tuple[Crowd, ...]:
    """Sets of kilns that all together overload a leg: cliques of pairs, and threes of which each two fit."""
    count = len(problem.kilns)
    pairs = {frozenset(pair) for pair in combinations(range(count), 2) if not _fit(problem, pair)}
    found = [Crowd(clique, 1) for clique in _cliques(count, pairs)]
    for three in combinations(range(count), 3):
        if not any(frozenset(pair) in pairs for pair in combinations(three, 2)) and not _fit(problem, three):
            found.append(Crowd(frozenset(three), 2))
    return tuple(found)


def _fit(problem: Problem, kilns: tuple[int, ...]) -> bool:
    """Whether the kilns may heat at once on all their legs."""
    drawn = np.zeros(len(problem.line_limit), dtype=np.int64)
    for kiln in kilns:
        drawn[problem.kiln_lines[kiln]] += problem.kiln_amps[kiln]
    return bool((drawn <= problem.line_limit).all())


def _cliques(count: int, pairs: set[frozenset[int]]) -> list[frozenset[int]]:
    """Sets of which every two are a pair, none within another, that hold all pairs between them."""
    found: set[frozenset[int]] = set()
    for pair in pairs:
        clique = set(pair)
        for other in range(count):
            if other not in clique and all(frozenset((other, one)) in pairs for one in clique):
                clique.add(other)
        found.add(frozenset(clique))
    return sorted(found, key=sorted)
