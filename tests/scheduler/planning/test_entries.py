"""What occupies a kiln, kept in arrays, against a plain sorted list."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.planning.entries import OUTAGE, Entries
from scheduler.planning.problem import FAR


@pytest.mark.parametrize("seed", range(5))
def test_arrays_say_what_a_sorted_list_of_the_same_entries_says(seed: int) -> None:
    random = np.random.default_rng(seed)
    outages = [(40, 50), (10, 20)]
    entries = Entries(outages)
    plain = [(begin, end, OUTAGE, OUTAGE) for begin, end in sorted(outages)]
    for number in range(200):
        own = [row for row in plain if row[2] != OUTAGE]
        if own and random.random() < 0.4:
            begin, end, firing, _ = gone = own[int(random.integers(len(own)))]
            entries.remove((begin, end, firing))
            plain.remove(gone)
        else:
            begin, work = int(random.integers(1000)), int(random.integers(5))
            entries.insert((begin, begin + 7, number), work)
            plain = sorted([*plain, (begin, begin + 7, number, work)])
        begins, ends, works = (column.tolist() for column in entries.columns())
        assert list(zip(begins, ends, works, strict=True)) == [(b, e, w) for b, e, _, w in plain]
        opens, closes = (column.tolist() for column in entries.gaps()[:2])
        assert opens == [0, *ends]
        assert closes == [*begins, FAR]
        assert entries.rows == [row[:3] for row in plain]


def test_an_entry_that_is_not_there_cannot_be_removed() -> None:
    entries = Entries([(10, 20)])
    with pytest.raises(ValueError, match="no such entry"):
        entries.remove((10, 20, 3))
