"""The compiled stepper: one linear implicit solve a step on the kiln's tree, and the controller on top of it.

Every node's state is its enthalpy. A step takes conductances and heat capacities at the last state, eliminates the
tree from its leaves to the chamber in O(N), and so knows the sensor's next reading as m0 + m1 P: the power that
follows the set point comes out exactly, and is then clipped to what the elements give. Fluxes between the new
temperatures move enthalpy, hence energy is conserved to rounding whatever the step.

Everything here is plain arithmetic on arrays so that numba compiles and caches it; `simulate` is the door. The cache
notices changes of this file only, so every constant that is compiled in stands here.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from scheduler.compiling import compiled

Floats = NDArray[np.float64]

REACHED, STALLED, TOO_LONG, NEVER_COOL = 0, 1, 2, 3
"""How a firing ends: all targets reached; a target not reached; longer than ``LONGEST_S``; never cool enough."""

TABLE_LOW_C = -60.0
"""First temperature of every enthalpy table [°C]: the coldest room that a studio folder may name."""

TABLE_STEP_K = 5.0
"""Spacing of the enthalpy tables [K]: fine enough that boiling at 95 to 105 °C has cells of its own."""

TABLE_CELLS = 400
"""Cells of every enthalpy table [-]: up to 1940 °C, above anything an electric kiln reaches."""

STEFAN_BOLTZMANN = 5.670374419e-8
"""Stefan-Boltzmann constant [W/m²K⁴]; CODATA 2018."""

KELVIN = 273.15
CONVECTION = 8.0
"""Inside a closed kiln [W/m²K]: natural convection, 5 to 12 (Incropera & DeWitt ch. 9, order of size) [CP]."""
WARE_EMISSIVITY = 0.85
"""Clay, glaze, investment [-]; oxides 0.8 to 0.95 (Incropera & DeWitt table A.11, order of size) [M]."""
BRICK_EMISSIVITY = 0.7
"""Hot face of firebrick [-]; 0.6 to 0.8 (Incropera & DeWitt table A.11) [M]."""
JACKET_EMISSIVITY = 0.5
"""Outside of a kiln, oxidised or painted sheet [-]; check values, prototype [CP]."""
POWER_ON_BRICK = 0.5
"""Share of the element power that lands on the grooves [-]; elements see brick over half their round [CP]."""
WARE_AREA_LIMIT = 1.5
"""Most surface that ware shows to the chamber, by inside surface [-]: stacked pieces hide each other [CP]."""
SHELF_M2_PER_KG = 2.0 / (2200.0 * 0.014)
"""Both faces of a 14 mm cordierite-mullite shelf of 2200 kg/m³ [m²/kg]; typical of makers' sheets, 2000 to 2400 [M]."""
DISCHARGE = 0.6
"""Discharge coefficient of cracks [-]; sharp-edged openings, any hydraulics text [M]."""
CRACK_VIEW = 0.25
"""Share of the radiation that passes a crack [-]: cracks are deep and crooked. Straight through a slot five times as
deep as wide goes a tenth (crossed strings: sqrt(1 + 5²) - 5) [C], the rest by reflection [CP]."""
LID_EXCHANGE = 0.07
"""Exchange flow of an open lid: V = 0.07 A sqrt(g D ΔT/T), from Q = 0.055 sqrt(g D^5 Δρ/ρ) for a thin horizontal
opening (Epstein, J. Heat Transfer 110 (1988) 885) [M]; a door on the front exchanges more, so this is cautious."""
SESSION_OPEN_SHARE = 0.05
"""Share of a hot session during which the door stands open [-]: 15 s in 5 min [CP]."""
AIR_CP = 1100.0
"""Air at 200 to 800 °C [J/kgK]; 1025 to 1154 (ideal-gas tables, Incropera & DeWitt A.4) [M]."""
GRAVITY = 9.81

WAIT_BAND_K = 2.0
"""A ramp's set point runs at most so far ahead of the sensor [K]: then it waits for the kiln."""
STALL_K_PER_H = 2.0
"""At full power and rising more slowly than this [K/h], the target counts as out of reach [CP]."""
LONGEST_FULL_POWER_S = 60.0 * 3600.0
"""Longest that one ramp may run at full power [s]; then its target counts as out of reach."""
LONGEST_COOLING_S = 400.0 * 3600.0
LONGEST_S = 2000.0 * 3600.0

# Places in the state vector.
CHAMBER, SHELF, SKIN, CORE = 0, 1, 2, 3  # temperatures [°C]
H_SHELF, H_SKIN, H_CORE = 4, 5, 6  # enthalpies [J/kg]
MAX_SKIN, MAX_CORE = 7, 8  # hottest so far [°C]: heats of change are absorbed once
FACE, JACKET = 9, 10  # surfaces of the wall [°C]
WARE_KG = 11
STATE_SIZE = 12

# Places in the vector of the kiln's scalars.
(
    P_OUTSIDE,
    P_FACE,
    P_LID,
    P_LEAK,
    P_VENT,
    P_CHAMBER,
    P_POWER,
    P_HEIGHT,
    P_ROOM,
    P_SHELF_KG,
    P_WARE_M2_KG,
    P_SKIN_G,
    P_CORE_G,
) = range(13)
SCALARS = 13

# Places in the vector of results.
R_STATUS, R_SAFE, R_COLD, R_OPEN, R_KWH, R_STALL, R_IN, R_LOST, R_TAKEN, R_STORED, R_HOT = range(11)
RESULTS = 11


@compiled
def _radiation(one_c: float, other_c: float) -> float:
    """Black-body conductance between two temperatures [W/m²K]."""
    a = one_c + KELVIN
    b = other_c + KELVIN
    return STEFAN_BOLTZMANN * (a * a + b * b) * (a + b)


@compiled
def _cell(temperature_c: float) -> int:
    place = int((temperature_c - TABLE_LOW_C) / TABLE_STEP_K)
    return min(max(place, 0), TABLE_CELLS - 1)


@compiled
def _enthalpy_at(table: Floats, temperature_c: float) -> float:
    i = _cell(temperature_c)
    return float(table[i] + (table[i + 1] - table[i]) * ((temperature_c - TABLE_LOW_C) / TABLE_STEP_K - i))


@compiled
def _temperature_at(table: Floats, enthalpy: float, guess_c: float) -> float:
    i = _cell(guess_c)
    while i < TABLE_CELLS - 1 and enthalpy > table[i + 1]:
        i += 1
    while i > 0 and enthalpy < table[i]:
        i -= 1
    return float(TABLE_LOW_C + TABLE_STEP_K * (i + (enthalpy - table[i]) / (table[i + 1] - table[i])))


@compiled
def _ware_temperature(sensible: Floats, first: Floats, enthalpy: float, guess_c: float, hottest_c: float) -> float:
    """Temperature of ware [°C] by its enthalpy; on the first-heating curve only where it is hotter than ever."""
    at_hottest = _enthalpy_at(first, hottest_c)
    if enthalpy >= at_hottest:
        return _temperature_at(first, enthalpy, guess_c)
    absorbed = at_hottest - _enthalpy_at(sensible, hottest_c)
    return _temperature_at(sensible, enthalpy - absorbed, guess_c)


@compiled
def _ware_capacity(sensible: Floats, first: Floats, temperature_c: float, hottest_c: float) -> float:
    """Apparent specific heat of ware [J/kgK]."""
    i = _cell(temperature_c)
    table = first if temperature_c >= hottest_c - 1e-9 else sensible
    return float((table[i + 1] - table[i]) / TABLE_STEP_K)


@compiled
def _room_conductance(p: Floats, chamber_c: float, vented: bool, open_share: float) -> float:
    """Cracks, vent and open lid: chamber to room [W/K], with ``p`` the kiln's scalars."""
    room_c = p[P_ROOM]
    hot = chamber_c + KELVIN
    excess = max(chamber_c - room_c, 0.0)
    # Half of the cracks let air in below, half let it out above: neutral plane at half height.
    flow = 0.5 * DISCHARGE * p[P_LEAK] * math.sqrt(GRAVITY * p[P_HEIGHT] * excess / (room_c + KELVIN))
    density = 353.0 / hot  # ideal gas at 1 atm
    total = flow * density * AIR_CP + CRACK_VIEW * p[P_LEAK] * _radiation(chamber_c, room_c)
    if vented:
        total += p[P_VENT] * AIR_CP
    if open_share > 0.0:
        lid = p[P_LID]
        exchange = LID_EXCHANGE * lid * math.sqrt(GRAVITY * math.sqrt(lid) * excess / hot)
        total += open_share * (exchange * density * AIR_CP + 0.8 * lid * _radiation(chamber_c, room_c))
    return float(total)


@compiled
def _conductances(
    p: Floats, half: Floats, k: Floats, wall: Floats, s: Floats, vented: bool, open_share: float, g: Floats
) -> float:
    """Fill ``g`` with the conductances at the last state [W/K]; return the share of power that enters the wall."""
    cells = wall.size
    face = p[P_FACE]
    kt = k[0, 0] + wall[0] * (k[0, 1] + wall[0] * k[0, 2])
    surface = 1.0 / (1.0 / WARE_EMISSIVITY + (1.0 / BRICK_EMISSIVITY - 1.0))
    film = face * (CONVECTION + surface * _radiation(s[CHAMBER], s[FACE]))
    into = kt / half[0]
    g[0] = film * into / (film + into)
    for i in range(1, cells):
        # k at the mean of the two temperatures: exact for a straight line k(T) in a steady wall.
        mean = 0.5 * (wall[i - 1] + wall[i])
        one = k[i - 1, 0] + mean * (k[i - 1, 1] + mean * k[i - 1, 2])
        two = k[i, 0] + mean * (k[i, 1] + mean * k[i, 2])
        g[i] = 1.0 / (half[i - 1] / one + half[i] / two)
    last = cells - 1
    room_c = p[P_ROOM]
    # Natural convection on a warm vertical surface, 1.42 (ΔT/L)^¼ (McAdams; simplified equations for air).
    convection = 1.42 * (max(s[JACKET] - room_c, 0.1) / p[P_HEIGHT]) ** 0.25
    out = p[P_OUTSIDE] * (convection + JACKET_EMISSIVITY * _radiation(s[JACKET], room_c))
    kt = k[last, 0] + wall[last] * (k[last, 1] + wall[last] * k[last, 2])
    through = kt / half[last]
    g[cells] = out * through / (out + through)
    g[cells + 5] = out

    area = p[P_SHELF_KG] * SHELF_M2_PER_KG
    g[cells + 1] = area * (CONVECTION + 0.8 * _radiation(s[CHAMBER], s[SHELF]))
    own = s[WARE_KG] * p[P_WARE_M2_KG]
    area = own * WARE_AREA_LIMIT * face / (own + WARE_AREA_LIMIT * face)
    between = 1.0 / (1.0 / WARE_EMISSIVITY + area / face * (1.0 / BRICK_EMISSIVITY - 1.0))
    ware = area * (CONVECTION + between * _radiation(s[CHAMBER], s[SKIN]))
    inward = p[P_SKIN_G] * s[WARE_KG]
    g[cells + 2] = ware * inward / (ware + inward)
    g[cells + 3] = p[P_CORE_G] * s[WARE_KG]
    g[cells + 4] = _room_conductance(p, s[CHAMBER], vented, open_share)
    # Power that lands on the face goes on into the brick, or back into the chamber, as the two ways conduct.
    return float(POWER_ON_BRICK * into / (film + into))


@compiled
def _eliminate(
    dt: float,
    p: Floats,
    mass: Floats,
    cp: Floats,
    wall: Floats,
    s: Floats,
    shelf_table: Floats,
    sensible: Floats,
    first: Floats,
    share: float,
    g: Floats,
    a: Floats,
    b: Floats,
    r: Floats,
) -> tuple[float, float]:
    """Eliminate the tree towards the chamber: its next temperature is m0 + m1 P.

    Leaves ``T_i' = a_i + b_i T_parent'`` (and ``r[0]`` per watt for the first wall cell) for the way back.
    """
    cells = wall.size
    room_c = p[P_ROOM]
    below_a, below_b, below_g = room_c, 0.0, g[cells]
    ap = 0.0
    for i in range(cells - 1, -1, -1):
        c = mass[i] * (cp[i, 0] + cp[i, 1] * wall[i]) / dt
        d = c + below_g * (1.0 - below_b) + g[i]
        a[i] = (c * wall[i] + below_g * below_a) / d
        b[i] = g[i] / d
        if i == 0:
            ap = share / d
        below_a, below_b, below_g = a[i], b[i], g[i]
    r[0] = ap

    j = _cell(s[SHELF])
    c = p[P_SHELF_KG] * (shelf_table[j + 1] - shelf_table[j]) / TABLE_STEP_K / dt
    gs = g[cells + 1]
    a_shelf = c * s[SHELF] / (c + gs)
    b_shelf = gs / (c + gs)

    gk, gc = g[cells + 2], g[cells + 3]
    c = 0.5 * s[WARE_KG] * _ware_capacity(sensible, first, s[CORE], s[MAX_CORE]) / dt
    a_core = c * s[CORE] / (c + gc)
    b_core = gc / (c + gc)
    c = 0.5 * s[WARE_KG] * _ware_capacity(sensible, first, s[SKIN], s[MAX_SKIN]) / dt
    d = c + gc * (1.0 - b_core) + gk
    a_skin = (c * s[SKIN] + gc * a_core) / d
    b_skin = gk / d

    c = p[P_CHAMBER] / dt
    d = c + g[0] * (1.0 - b[0]) + gs * (1.0 - b_shelf) + gk * (1.0 - b_skin) + g[cells + 4]
    r[1], r[2], r[3], r[4], r[5], r[6] = a_shelf, b_shelf, a_core, b_core, a_skin, b_skin
    m0 = (c * s[CHAMBER] + g[0] * a[0] + gs * a_shelf + gk * a_skin + g[cells + 4] * room_c) / d
    m1 = (1.0 - share + g[0] * ap) / d
    return m0, m1


@compiled
def _apply(
    dt: float,
    power: float,
    chamber_c: float,
    p: Floats,
    mass: Floats,
    half: Floats,
    k: Floats,
    cp: Floats,
    wall: Floats,
    wall_h: Floats,
    s: Floats,
    shelf_table: Floats,
    sensible: Floats,
    first: Floats,
    share: float,
    g: Floats,
    a: Floats,
    b: Floats,
    r: Floats,
    result: Floats,
) -> None:
    """Move the enthalpy of one step of constant ``power`` [W]; the chamber ends at ``chamber_c``."""
    cells = wall.size
    room_c = p[P_ROOM]
    # Way back: new linear temperatures from the root outward; each flux moves once, out of one node into the next.
    above = chamber_c
    first_cell = a[0] + r[0] * power + b[0] * above
    entering = g[0] * (above - first_cell) + share * power
    kt = k[0, 0] + wall[0] * (k[0, 1] + wall[0] * k[0, 2])
    s[FACE] = first_cell + entering * half[0] / kt
    below = first_cell
    for i in range(cells):
        here = below
        if i < cells - 1:
            below = a[i + 1] + b[i + 1] * here
            leaving = g[i + 1] * (here - below)
        else:
            leaving = g[cells] * (here - room_c)
        wall_h[i] += dt * (entering - leaving) / mass[i]
        c0 = cp[i, 0]
        wall[i] = 2.0 * wall_h[i] / (c0 + math.sqrt(c0 * c0 + 2.0 * cp[i, 1] * wall_h[i]))
        entering = leaving
    s[JACKET] = room_c + entering / g[cells + 5]
    result[R_LOST] += dt * (entering + g[cells + 4] * (chamber_c - room_c))
    result[R_IN] += dt * power

    shelf = r[1] + r[2] * chamber_c
    s[H_SHELF] += dt * g[cells + 1] * (chamber_c - shelf) / p[P_SHELF_KG]
    s[SHELF] = _temperature_at(shelf_table, s[H_SHELF], s[SHELF])

    skin = r[5] + r[6] * chamber_c
    core = r[3] + r[4] * skin
    inward = g[cells + 3] * (skin - core)
    half_kg = 0.5 * s[WARE_KG]
    s[H_SKIN] += dt * (g[cells + 2] * (chamber_c - skin) - inward) / half_kg
    s[H_CORE] += dt * inward / half_kg
    s[SKIN] = _ware_temperature(sensible, first, s[H_SKIN], s[SKIN], s[MAX_SKIN])
    s[CORE] = _ware_temperature(sensible, first, s[H_CORE], s[CORE], s[MAX_CORE])
    s[MAX_SKIN] = max(s[MAX_SKIN], s[SKIN])
    s[MAX_CORE] = max(s[MAX_CORE], s[CORE])
    s[CHAMBER] = chamber_c


@compiled
def _stored(p: Floats, mass: Floats, wall_h: Floats, s: Floats) -> float:
    """Energy above 0 °C in the kiln and its charge [J]."""
    total = p[P_CHAMBER] * s[CHAMBER] + p[P_SHELF_KG] * s[H_SHELF]
    total += 0.5 * s[WARE_KG] * (s[H_SKIN] + s[H_CORE])
    for i in range(mass.size):
        total += mass[i] * wall_h[i]
    return float(total)


@compiled
def _take_ware(s: Floats, left_kg: float, result: Floats) -> None:
    """Take ware out, down to ``left_kg`` [kg]; its heat leaves with it."""
    taken = s[WARE_KG] - left_kg
    if taken > 0.0:
        result[R_TAKEN] += taken * 0.5 * (s[H_SKIN] + s[H_CORE])
        s[WARE_KG] = left_kg


@compiled
def fire(
    dt: float,
    per_minute: int,
    p: Floats,
    mass: Floats,
    half: Floats,
    k: Floats,
    cp: Floats,
    shelf_table: Floats,
    sensible: Floats,
    first: Floats,
    ware_kg: float,
    least_kg: float,
    vented: bool,
    unload_hot: bool,
    rate: Floats,
    target: Floats,
    hold: Floats,
    least_hold: float,
    unload_below_c: float,
    load_below_c: float,
    reached: Floats,
    ends: Floats,
    temperature: Floats,
    power_log: Floats,
    result: Floats,
) -> int:
    """Follow all segments, then cool; times in seconds go into ``reached``, ``ends`` and ``result``.

    ``rate`` is in K/s and 0 for full power; ``temperature`` and ``power_log`` take one value a minute, as many as
    the return value says.
    """
    cells = mass.size
    room_c = p[P_ROOM]
    wall = np.full(cells, room_c)
    wall_h = np.empty(cells)
    for i in range(cells):
        wall_h[i] = cp[i, 0] * room_c + 0.5 * cp[i, 1] * room_c * room_c
    s = np.full(STATE_SIZE, room_c)
    s[H_SHELF] = _enthalpy_at(shelf_table, room_c)
    s[H_SKIN] = _enthalpy_at(first, room_c)
    s[H_CORE] = s[H_SKIN]
    s[WARE_KG] = ware_kg
    g = np.empty(cells + 6)
    a = np.empty(cells)
    b = np.empty(cells)
    r = np.empty(7)
    for i in range(result.size):
        result[i] = 0.0
    start_j = _stored(p, mass, wall_h, s)
    temperature[0] = room_c
    count = 1
    step = 0
    energy = 0.0

    segments = target.size
    n = 0
    t = 0.0
    holding = False
    hold_left = 0.0
    credit = 0.0
    set_c = room_c
    up = target[0] >= room_c
    full_time = 0.0
    window_start = 0.0
    window_c = room_c
    hot = -1.0
    safe_hot = 0.0  # hot work: when the session begins
    while hot < 0.0:
        if t > LONGEST_S:
            result[R_STATUS] = TOO_LONG
            result[R_STALL] = s[CHAMBER]
            return count
        session = unload_hot and holding and n == segments - 1 and t >= safe_hot
        share = _conductances(p, half, k, wall, s, vented, SESSION_OPEN_SHARE if session else 0.0, g)
        m0, m1 = _eliminate(dt, p, mass, cp, wall, s, shelf_table, sensible, first, share, g, a, b, r)
        most = p[P_POWER]
        low, high = 0.0, most
        began = 0.0  # when in this step the ramp begins
        want_c = target[n]
        budget = dt + credit
        credit = 0.0
        on = 1.0  # share of the step before the elements go off for good
        if holding:
            if hold_left > dt:
                hold_left -= dt
                power = min(max((want_c - m0) / m1, 0.0), most)
            else:
                ends[n] = t + hold_left
                power = min(max((want_c - m0) / m1, 0.0), most)
                if n == segments - 1:
                    hot = t + hold_left
                    power *= hold_left / dt
                else:
                    began = hold_left
                    low = power * began / dt
                    high = low + most * (1.0 - began / dt)
                    holding = False
                    budget = dt - began
                    n += 1
                    want_c = target[n]
                    set_c = s[CHAMBER]
                    up = want_c >= set_c
                    full_time, window_start, window_c = 0.0, 0.0, s[CHAMBER]
        else:
            power = 0.0
        if not holding and hot < 0.0:
            base = min(set_c, s[CHAMBER] + WAIT_BAND_K) if up else max(set_c, s[CHAMBER] - WAIT_BAND_K)
            need = 0.0
            if rate[n] > 0.0:
                need = abs(want_c - base) / rate[n]
                if need > budget:
                    aim = base + rate[n] * budget if up else base - rate[n] * budget
                else:
                    aim = want_c
            else:
                aim = want_c
            power = min(max((aim - m0) / m1, low), high)
            ends_c = m0 + m1 * power
            arrived = aim == want_c and (ends_c >= want_c - 1e-6 if up else ends_c <= want_c + 1e-6)
            set_c = aim
            if arrived:
                limit_c = m0 + m1 * (high if up else low)
                span = limit_c - s[CHAMBER]
                pace = (want_c - s[CHAMBER]) / span if abs(span) > 1e-12 else 0.0
                pace = began + min(max(pace, 0.0), 1.0) * (dt - began)
                at = min(max(began + need - (budget - (dt - began)), pace, 0.0), dt)
                reached[n] = t + at
                safe_hot = reached[n] + least_hold
                hold_left = hold[n] - (dt - at)
                holding = True
                if hold_left <= 0.0:
                    ends[n] = reached[n] + hold[n]
                    if n == segments - 1:
                        hot = ends[n]
                        on = (at + hold[n]) / dt
                        if rate[n] == 0.0 and not up and hold[n] == 0.0:
                            power, on = low, 1.0
                    else:
                        credit = -hold_left
                        holding = False
                        n += 1
                        set_c = want_c
                        up = target[n] >= set_c
                        full_time, window_start, window_c = 0.0, 0.0, want_c
                power *= on
            else:
                # Out of reach? Full power (or, falling, none at all) and next to no progress.
                if up and power >= high - 1e-9 * most:
                    full_time += dt
                    if full_time - window_start >= 3600.0:
                        if ends_c - window_c < STALL_K_PER_H:
                            full_time = LONGEST_FULL_POWER_S
                        window_start, window_c = full_time, ends_c
                elif not up and power <= low:
                    full_time += dt
                    if want_c <= room_c + 0.5 or full_time > LONGEST_COOLING_S:
                        full_time = LONGEST_FULL_POWER_S + LONGEST_COOLING_S
                else:
                    window_start, window_c = full_time, ends_c
                limit = LONGEST_FULL_POWER_S if up else LONGEST_FULL_POWER_S + LONGEST_COOLING_S
                if full_time >= limit:
                    result[R_STATUS] = STALLED
                    result[R_STALL] = ends_c
                    return count
        _apply(
            dt,
            power,
            m0 + m1 * power,
            p,
            mass,
            half,
            k,
            cp,
            wall,
            wall_h,
            s,
            shelf_table,
            sensible,
            first,
            share,
            g,
            a,
            b,
            r,
            result,
        )
        t += dt
        if session:
            length = max(hold[n] - least_hold, dt)
            left = ware_kg * (1.0 - (t - safe_hot) / length)
            _take_ware(s, min(s[WARE_KG], max(left, least_kg)), result)
        energy += power * dt
        step += 1
        if step % per_minute == 0:
            temperature[count] = s[CHAMBER]
            power_log[count - 1] = energy / (60.0 * 1000.0)
            energy = 0.0
            count += 1
    result[R_KWH] = result[R_IN] / 3.6e6
    result[R_HOT] = hot
    if unload_hot:
        _take_ware(s, least_kg, result)

    # Cooling, lid shut, to both limits.
    safe = -1.0 if not unload_hot else safe_hot
    cold = -1.0
    if safe < 0.0 and s[CHAMBER] <= unload_below_c:
        safe = hot
    if s[CHAMBER] <= load_below_c:
        cold = hot
    saved_wall = wall.copy()
    saved_h = wall_h.copy()
    saved = s.copy()
    start_cooling = t
    while safe < 0.0 or cold < 0.0:
        if t - start_cooling > LONGEST_COOLING_S:
            result[R_STATUS] = NEVER_COOL
            result[R_STALL] = s[CHAMBER]
            return count
        share = _conductances(p, half, k, wall, s, vented, 0.0, g)
        m0, m1 = _eliminate(dt, p, mass, cp, wall, s, shelf_table, sensible, first, share, g, a, b, r)
        before = s[CHAMBER]
        _apply(
            dt, 0.0, m0, p, mass, half, k, cp, wall, wall_h, s, shelf_table, sensible, first, share, g, a, b, r, result
        )
        t += dt
        step += 1
        if step % per_minute == 0:
            temperature[count] = s[CHAMBER]
            power_log[count - 1] = energy / (60.0 * 1000.0)
            energy = 0.0
            count += 1
        if safe < 0.0 and m0 <= unload_below_c:
            safe = max(hot, t - dt * (unload_below_c - m0) / max(before - m0, 1e-12))
            saved_wall[:] = wall
            saved_h[:] = wall_h
            saved[:] = s
        if cold < 0.0 and m0 <= load_below_c:
            cold = max(hot, t - dt * (load_below_c - m0) / max(before - m0, 1e-12))
    result[R_SAFE] = safe
    result[R_COLD] = cold
    result[R_STORED] = _stored(p, mass, wall_h, s) - start_j

    # Emptied and open, until face, shelves and chamber are all below the limit to load again.
    wall[:] = saved_wall
    wall_h[:] = saved_h
    s[:] = saved
    s[WARE_KG] = least_kg
    spare = np.zeros(result.size)
    warmest = max(s[CHAMBER], s[SHELF], s[FACE])
    since = 0.0
    dt *= 0.25  # short and quick
    while warmest > load_below_c:
        if since > LONGEST_COOLING_S:
            result[R_STATUS] = NEVER_COOL
            result[R_STALL] = warmest
            return count
        share = _conductances(p, half, k, wall, s, vented, 1.0, g)
        m0, m1 = _eliminate(dt, p, mass, cp, wall, s, shelf_table, sensible, first, share, g, a, b, r)
        _apply(
            dt, 0.0, m0, p, mass, half, k, cp, wall, wall_h, s, shelf_table, sensible, first, share, g, a, b, r, spare
        )
        since += dt
        now = max(s[CHAMBER], s[SHELF], s[FACE])
        if now <= load_below_c:
            since -= dt * (load_below_c - now) / max(warmest - now, 1e-12)
        warmest = now
    result[R_OPEN] = since
    return count
