"""The cheapest place for one firing in one kiln, given everything else: one sweep over the starting slots.

Compiled, since the search asks for it some ten thousand times a second. The rules that it keeps are those of the
plan's contract: hands at loading and unloading, skills at a session, current on every leg above the kiln, quiet and
attended times, outages, the kiln's other firings, ready times, earlier stages and booked sessions.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scheduler.compiling import compiled

Ints = NDArray[np.int32]
Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

EARLINESS = 2e-5
"""What a slot sooner is worth to the search [currency per slot], so that of two equal places it takes the earlier."""


class Place(NamedTuple):
    """A place found: slots of loading, start and unloading, the kiln's next free slot, energy cost and guide cost.

    ``cleaning`` is what clean-outs before and after it cost more than without it, when it was found [currency].
    """

    load: int
    start: int
    unload: int
    free: int
    energy: float
    guide: float
    cleaning: float = 0.0


@compiled
def book(
    used: Ints,
    rows: Ints,
    begin: int,
    end: int,
    change: int,
) -> None:
    """Add ``change`` to rows of what is used, in ``[begin, end)``; what lies before the plan does not count."""
    for row in rows:
        for slot in range(max(0, begin), max(0, end)):
            used[row, slot] += change


@compiled
def book_firing(
    people_used: Ints,
    crew: Ints,
    hands: Ints,
    lines_used: Ints,
    lines: Ints,
    amps: int,
    load: int,
    loaded: int,
    start: int,
    hot_end: int,
    unload: int,
    unloaded: int,
    sign: int,
) -> None:
    """Book the hands and the current of a firing, or take them back; what lies before the plan does not count.

    One pair of hands (row 0) from ``load`` to ``loaded``; so many ``hands`` of each row of the ``crew`` from ``unload``
    to ``unloaded``; so many ``amps`` on each of the ``lines`` from ``start`` to ``hot_end``.
    """
    for slot in range(max(0, load), loaded):
        people_used[0, slot] += sign
    for g in range(len(crew)):
        for slot in range(max(0, unload), unloaded):
            people_used[crew[g], slot] += sign * hands[g]
    for line in lines:
        for slot in range(max(0, start), hot_end):
            lines_used[line, slot] += sign * amps


@compiled
def find_place(
    first_load: int,
    last_out_minutes: int,
    load_len: int,
    is_hot: bool,
    hot: int,
    end_slot: int,
    safe: int,
    latest: int,
    unload_len: int,
    out_minutes: int,
    cold: int,
    open_cool: int,
    opens_at: Ints,
    closes_at: Ints,
    cleaning_slots: Ints,
    cleaning_costs: Floats,
    least_cleaning: float,
    cleaned_by_hand: bool,
    people_used: Ints,
    people: Ints,
    groups: Ints,
    hands: Ints,
    lines_used: Ints,
    line_limit: Ints,
    kiln_lines: Ints,
    amps: int,
    heat_ok: Mask,
    start_ok: Mask,
    end_ok: Mask,
    energy: Floats,
    least_energy: float,
    price: Floats,
    hold_kwh_per_slot: float,
    fixed_session: int,
    promised: Floats,
    weight: Floats,
    once: Floats,
    stay_from: Floats,
    stay_to: Floats,
    stay_price: float,
    grid: int,
    only_start: int,
    earliness: float,
    beat: float,
) -> tuple[bool, int, int, int, int, float, float, float]:
    """Return ``(found, load, start, unload, free, energy, guide, cleaning)``; lengths in slots, promises in minutes.

    The gaps between the kiln's firings are ``[opens_at, closes_at)``, each with the clean-out that it asks for before
    loading and what clean-outs then cost more; ``cleaned_by_hand`` says whether somebody has to be there for them.

    Unloading, or the session, takes ``hands`` of the rows ``groups`` of people. A load that was planned for this kiln
    costs ``stay_price`` unless it is out within ``[stay_from, stay_to)``. Only what costs less than ``beat`` is found:
    guide and clean-outs together [currency].

    Hands and current are looked at no further than the sweep comes: what they say of the slots seen so far is kept
    while it moves on (``crew``: the run of slots with hands that ends before ``crew_seen``; ``bad``: the last slot
    before ``heat_seen`` in which the kiln may not heat).
    """
    slots = len(heat_ok)
    load_need = max(1, load_len)
    unload_need = max(1, unload_len)
    low0 = max(first_load, 0)
    best = beat
    b_load = -1
    b_start = -1
    b_unload = -1
    b_free = -1
    b_energy = 0.0
    b_cleaning = 0.0
    floor = least_energy + least_cleaning
    soonest = low0 + load_len + safe
    late = earliness * soonest
    out = soonest * grid + out_minutes
    for j in range(len(promised)):
        if out > promised[j]:
            late += once[j] + (out - promised[j]) * weight[j]
    if late + floor >= best or soonest >= slots or out > last_out_minutes:
        return False, b_load, b_start, b_unload, b_free, b_energy, 0.0, b_cleaning
    if fixed_session >= 0:
        if fixed_session + unload_need > slots:
            return False, b_load, b_start, b_unload, b_free, b_energy, 0.0, b_cleaning
        for g in range(len(groups)):
            for t in range(fixed_session, fixed_session + unload_need):
                if people_used[groups[g], t] + hands[g] > people[groups[g], t]:
                    return False, b_load, b_start, b_unload, b_free, b_energy, 0.0, b_cleaning
    seen_from = slots + 1
    crew_seen = 0
    crew = 0
    heat_seen = 0
    bad = -1
    over = False
    for gap in range(len(opens_at)):
        closes = closes_at[gap]
        cleaning = cleaning_slots[gap]
        extra = cleaning_costs[gap]
        by_hand = cleaning if cleaned_by_hand else 0
        low = max(opens_at[gap] + cleaning, low0, by_hand)
        if closes < low + load_len + safe + unload_len or closes <= low:
            continue
        # The first slot of loading from `low` on that has hands for it, and for the clean-out before it.
        run = 0
        t = low - by_hand
        while t < slots and run < load_need + by_hand:
            run = run + 1 if people_used[0, t] < people[0, t] else 0
            t += 1
        if run < load_need + by_hand:
            break
        low = t - load_need
        s = low + load_len
        if only_start >= 0:
            if s > only_start:
                break
            s = only_start
        if s < seen_from:
            # The first gap, or one that begins before the last one does.
            crew_seen = 0
            crew = 0
            heat_seen = s
            bad = -1
        seen_from = s
        while s < closes:
            if only_start >= 0 and s > only_start:
                break
            seen_from = s
            ready = s + safe
            if ready >= slots:
                over = True
                break
            if not start_ok[s]:
                s += 1
                continue
            if fixed_session >= 0:
                u = fixed_session
                if ready > u:
                    break
            else:
                if crew_seen < ready:
                    crew_seen = ready
                    crew = 0
                while crew_seen < slots and crew_seen - max(ready, crew_seen - crew) < unload_need:
                    free = True
                    for g in range(len(groups)):
                        if people_used[groups[g], crew_seen] + hands[g] > people[groups[g], crew_seen]:
                            free = False
                            break
                    crew = crew + 1 if free else 0
                    crew_seen += 1
                u = max(ready, crew_seen - crew)
                if crew_seen - u < unload_need:
                    over = True
                    break
            out = u * grid + out_minutes
            if out > last_out_minutes:
                break
            late = earliness * u
            for j in range(len(promised)):
                if out > promised[j]:
                    late += once[j] + (out - promised[j]) * weight[j]
            if late + floor >= best:
                over = True
                break
            if late + least_energy + extra >= best:
                break
            if u > s + latest:
                s = u - latest
                continue
            u_end = u + unload_len
            if is_hot:
                free_at = u_end + min(cold, open_cool)
            else:
                free_at = max(u_end, min(s + cold, u_end + open_cool))
            if free_at > closes:
                break
            hot_end = u_end if is_hot else s + hot
            if hot_end > slots:
                over = True
                break
            if heat_seen < s:
                heat_seen = s
            while heat_seen < hot_end:
                # bad: the last slot seen in which the kiln may not heat.
                if not heat_ok[heat_seen]:
                    bad = heat_seen
                else:
                    for row in kiln_lines:
                        if lines_used[row, heat_seen] + amps > line_limit[row]:
                            bad = heat_seen
                            break
                heat_seen += 1
            if bad >= s and hot_end > s:
                # Nothing that begins at or before the last bad slot can work, unless heating ends sooner.
                s = bad + 1
                continue
            if not is_hot and not end_ok[min(s + end_slot, slots - 1)]:
                s += 1
                continue
            cost = energy[s] + extra
            for j in range(len(stay_from)):
                if out < stay_from[j] or out >= stay_to[j]:
                    late += stay_price
            if is_hot:
                # The course behind `energy` ends with the least hold; waiting and the session come on top.
                for t in range(s + safe, u_end):
                    cost += hold_kwh_per_slot * price[t]
            if late + cost < best - 1e-9:
                best = late + cost
                b_start = s
                b_unload = u
                b_free = free_at
                b_energy = cost - extra
                b_cleaning = extra
                # Loaded as late as there are hands, after a clean-out directly before it.
                run = 0
                t = s - load_len + load_need
                while run < load_need + by_hand:
                    t -= 1
                    run = run + 1 if people_used[0, t] < people[0, t] else 0
                b_load = t + by_hand
            s += 1
        if over:
            break
    return b_start >= 0, b_load, b_start, b_unload, b_free, b_energy, best - b_cleaning, b_cleaning
