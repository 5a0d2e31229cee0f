"""The cheapest place for one firing in one kiln, given everything else: one sweep over the starting slots.

Compiled, since the search asks for it some ten thousand times a second. The rules that it keeps are those of the
plan's contract: hands at loading and unloading, skills at a session, current on every leg above the kiln, quiet and
attended times, outages, the kiln's other firings, ready times, earlier stages and booked sessions.
"""

from __future__ import annotations

from typing import NamedTuple

import numba
import numpy as np

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


@numba.njit(cache=True, nogil=True, fastmath=False)
def find_place(  # type: ignore[no-untyped-def]
    first_load,
    last_out_minutes,
    load_len,
    is_hot,
    hot,
    end_slot,
    safe,
    latest,
    unload_len,
    out_minutes,
    cold,
    open_cool,
    opens_at,
    closes_at,
    cleaning_slots,
    cleaning_costs,
    least_cleaning,
    longest_cleaning,
    people_used,
    people,
    groups,
    lines_used,
    line_limit,
    kiln_lines,
    amps,
    heat_ok,
    start_ok,
    end_ok,
    energy,
    least_energy,
    price,
    hold_kwh_per_slot,
    fixed_session,
    promised,
    weight,
    once,
    stay_from,
    stay_to,
    stay_price,
    grid,
    only_start,
    earliness,
):
    """Return ``(found, load, start, unload, free, energy, guide, cleaning)``; lengths in slots, promises in minutes.

    The gaps between the kiln's firings are ``[opens_at, closes_at)``, each with the clean-out that it asks for before
    loading and what clean-outs then cost more; ``longest_cleaning`` is 0 where nobody has to be there for them.

    A load that was planned for this kiln costs ``stay_price`` unless it is out within ``[stay_from, stay_to)``.

    The sweep looks at a stretch of the horizon that is long enough for most firings, and at twice as much as long as
    the end of the stretch, not the cost, has stopped it.
    """
    slots = len(heat_ok)
    load_need = max(1, load_len)
    unload_need = max(1, unload_len)
    low0 = max(first_load, 0)
    reach = load_len + safe + unload_len + 2880 // grid
    if only_start >= 0:
        reach = max(reach, only_start - low0 + safe + unload_len + 1440 // grid)
    last_load = np.empty(slots + 1, np.int32)
    next_unload = np.empty(slots + 2, np.int32)
    run_of_hands = np.empty(slots + 1, np.int32)
    last_bad = np.empty(slots + 1, np.int32)
    best = 1e18
    b_load = -1
    b_start = -1
    b_unload = -1
    b_free = -1
    b_energy = 0.0
    b_cleaning = 0.0
    while low0 < slots:
        high = min(slots, low0 + reach)
        if fixed_session >= 0:
            high = min(slots, max(high, fixed_session + unload_need + 1))
        # last_load[t]: the latest slot up to t in which loading may begin; next_unload[t]: the first from t on.
        run_load = 0
        run_unload = 0
        coming = 1 << 28
        next_unload[high] = coming
        run_of_hands[high] = 0
        for t in range(high - 1, max(0, low0 - longest_cleaning) - 1, -1):
            run_load = run_load + 1 if people_used[0, t] < people[0, t] else 0
            run_of_hands[t] = run_load
            if t < low0:
                continue
            free = True
            for g in groups:
                if people_used[g, t] >= people[g, t]:
                    free = False
                    break
            run_unload = run_unload + 1 if free else 0
            if run_unload >= unload_need:
                coming = t
            next_unload[t] = coming
        latest_load = -1
        bad = -1
        for t in range(low0, high):
            if run_of_hands[t] >= load_need:
                latest_load = t
            last_load[t] = latest_load
            # last_bad[t]: the last slot up to t in which the kiln may not heat, or -1.
            good = heat_ok[t]
            if good:
                for row in kiln_lines:
                    if lines_used[row, t] + amps > line_limit[row]:
                        good = False
                        break
            if not good:
                bad = t
            last_bad[t] = bad
        cut_short = False
        for gap in range(len(opens_at)):
            closes = closes_at[gap]
            cleaning = cleaning_slots[gap]
            extra = cleaning_costs[gap]
            low = max(opens_at[gap] + cleaning, low0)
            if closes <= low:
                continue
            by_hand = cleaning if longest_cleaning > 0 else 0
            while low < high and run_of_hands[low - by_hand] < load_need + by_hand:
                low += 1
            if low >= high:
                cut_short = True
                break
            s = low + load_len
            if only_start >= 0:
                if s > only_start:
                    break
                s = only_start
            pruned = False
            while s < closes:
                if only_start >= 0 and s > only_start:
                    break
                ready = s + safe
                if ready >= high:
                    cut_short = True
                    break
                if not start_ok[s]:
                    s += 1
                    continue
                if fixed_session >= 0:
                    u = fixed_session
                    if ready > u:
                        break
                    if u >= high or next_unload[u] != u:
                        break
                else:
                    u = next_unload[ready]
                if u >= high:
                    cut_short = True
                    break
                if u > s + latest:
                    s = u - latest
                    continue
                hot_end = u + unload_len if is_hot else s + hot
                if hot_end > high:
                    cut_short = True
                    break
                if hot_end > s and last_bad[hot_end - 1] >= s:
                    # Nothing that begins at or before the last bad slot can work, unless heating ends sooner.
                    s = last_bad[hot_end - 1] + 1
                    continue
                if not is_hot and not end_ok[min(s + end_slot, slots - 1)]:
                    s += 1
                    continue
                out = u * grid + out_minutes
                if out > last_out_minutes:
                    break
                u_end = u + unload_len
                if is_hot:
                    free_at = u_end + min(cold, open_cool)
                else:
                    free_at = max(u_end, min(s + cold, u_end + open_cool))
                if free_at > closes:
                    break
                late = earliness * u
                for j in range(len(promised)):
                    if out > promised[j]:
                        late += once[j] + (out - promised[j]) * weight[j]
                if late + least_energy + least_cleaning >= best:
                    pruned = True
                    break
                if late + least_energy + extra >= best:
                    break
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
                    b_load = last_load[s - load_len]
                    if by_hand > 0:
                        b_load = s - load_len
                        while run_of_hands[b_load - by_hand] < load_need + by_hand:
                            b_load -= 1
                    b_start = s
                    b_unload = u
                    b_free = free_at
                    b_energy = cost - extra
                    b_cleaning = extra
                s += 1
            if pruned or cut_short:
                break
        if not cut_short or high >= slots:
            break
        reach *= 2
    return b_start >= 0, b_load, b_start, b_unload, b_free, b_energy, best - b_cleaning, b_cleaning
