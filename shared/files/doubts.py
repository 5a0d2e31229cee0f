"""What a folder without faults may still have wrong: warnings, for a person to judge. Nothing here stops a plan."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from shared.clock import Minute, iso_text
from shared.errors import Fault
from shared.files.values import listing, shown
from shared.kilns import Kiln
from shared.loads import Load, area_on_last_layer_cm2, size_row
from shared.profiles import Profile
from shared.studio import Studio
from shared.units import degrees

PLATE_TOLERANCE = 0.15
"""How far kilowatts may lie from volts × amps before it is doubted [-]; house choice: plates round volts (380, 400,
415) and amps by up to a tenth."""


def folder_warnings(studio: Studio, loads: Sequence[Load], now: Minute | None = None) -> list[Fault]:
    """What in a sound folder is probably not meant, or leaves a load without a firing.

    Parameters
    ----------
    studio, loads
        As ``read_folder`` gives them.
    now
        The present; without it nothing is said about times that have passed.
    """
    found: list[Fault] = []
    found += (Fault("studio.toml", *words) for words in _about_the_studio(studio))
    for number, kiln in enumerate(studio.kilns):
        found += (Fault("studio.toml", f"kilns[{number}] {kiln.id}{at}", *w) for at, *w in _about_a_kiln(studio, kiln))
    for number, profile in enumerate(studio.profiles):
        place = f"profiles[{number}] {profile.id}"
        found += (Fault("profiles.toml", place + at, *words) for at, *words in _about_a_profile(studio, profile))
    for load in loads:
        found += (
            Fault("loads.csv", f"load {load.id}, column {column}", *words)
            for column, *words in (*_about_times(studio, load, now), *_about_a_place(studio, load))
        )
    return found


Words = tuple[str, str, str]
"""Place, problem and remedy."""


def _about_the_studio(studio: Studio) -> Iterator[Words]:
    if not studio.shifts:
        yield "shifts", "nobody is ever there, so nothing can be loaded", "write at least one [[shifts]] table"
    if not studio.profiles:
        yield "", "there are no profiles, so nothing can be fired", "write the profiles into profiles.toml"


def plate_kilowatts(kiln: Kiln, legs: int) -> tuple[float, ...]:
    """What the plate's volts and amps may mean together [kW].

    One leg: U·I. Two legs of a split phase: U·I, U between them. Three: √3·U·I with U between legs (IEC 60050-131,
    three-phase power), or 3·U·I with U of each leg.
    """
    single = kiln.volts * kiln.amps / 1000.0
    return (single,) if legs < 3 else (math.sqrt(3.0) * single, 3.0 * single)


def _about_a_kiln(studio: Studio, kiln: Kiln) -> Iterator[Words]:
    legs = studio.legs_of(kiln)
    meant = plate_kilowatts(kiln, len(legs))
    if min(abs(kiln.kilowatts / power - 1.0) for power in meant) > PLATE_TOLERANCE:
        yield (
            " › kilowatts",
            f"{kiln.kilowatts:.15g} kW does not go with {kiln.volts:.15g} V, {kiln.amps:.15g} A "
            f"on {len(legs)} {'leg' if len(legs) == 1 else 'legs'}, which make "
            + listing(f"{power:.1f} kW" for power in meant),
            "read volts, amps (of each leg), kilowatts and legs from the plate again",
        )
    for circuit in studio.feeders(kiln.circuit):
        if kiln.amps > circuit.usable_amps + 1e-9:
            yield (
                " › amps",
                f"{kiln.amps:.15g} A is more than circuit {shown(circuit.id)} may carry, {circuit.usable_amps:.4g} A "
                f"({circuit.breaker_amps:.15g} × {circuit.continuous_share:.15g}), so it can never be fired",
                "check both figures, or have an electrician look at the circuit",
            )
    if not any(profile.work in kiln.work for profile in studio.profiles):
        yield " › work", f"there is no profile for {listing(kiln.work)}, so it is never fired", "add a profile"


def _about_a_profile(studio: Studio, profile: Profile) -> Iterator[Words]:
    if profile.unload == "hot" and all(profile.segments(row)[-1].hold_up_to_minutes is None for row in profile.rows):
        yield (
            "",
            "is unloaded hot, but its last hold has no hold_up_to, so the session must start the moment that hold ends",
            'give the last segment a longest hold, as hold_up_to = "6:00"',
        )
    kilns = [kiln for kiln in studio.kilns if profile.work in kiln.work and (kiln.vented or not profile.vent)]
    if not kilns and any(profile.work in kiln.work for kiln in studio.kilns):
        yield " › vent", "must be vented, but no kiln for its work is", "see to a vent, then write vented = true"
    unit = studio.place.temperature
    hottest = max((kiln.max_temperature_c for kiln in kilns), default=math.inf)
    for row in profile.rows:
        if profile.peak_c(row) > hottest:
            yield (
                "" if row is None else f" › sizes[{row}]",
                f"goes to {degrees(profile.peak_c(row), unit):.15g} °{unit}, "
                f"its kilns only to {degrees(hottest, unit):.15g} °{unit}",
                "lower the target, or give the work to a hotter kiln",
            )


def _about_times(studio: Studio, load: Load, now: Minute | None) -> Iterator[Words]:
    zone = studio.place.zone
    if load.ready is not None and load.promised is not None and load.promised <= load.ready:
        yield (
            "promised",
            f"{iso_text(load.promised, zone)} is not after ready, {iso_text(load.ready, zone)}",
            "promise a later time; the load will be late",
        )
    if now is not None and load.promised is not None and load.promised < now:
        yield "promised", f"{iso_text(load.promised, zone)} has passed", "agree on a new time; the load is late already"
    if now is not None and load.session_at is not None and load.session_at < now:
        yield "session_at", f"{iso_text(load.session_at, zone)} has passed", "book the session anew"
    if load.gap_minutes and load.after is None:
        yield "gap_hours", "is given without after, so it has no effect", "name the earlier stage in after"


def _about_a_place(studio: Studio, load: Load) -> Iterator[Words]:
    """Why no kiln, with no profile that the load may be fired in, takes it."""
    leading = _leading_profiles(studio, load)
    unit = studio.place.temperature
    peaks = {profile.id: profile.peak_c(row) for profile, row in leading}
    cool_enough = [
        (profile, row)
        for profile, row in leading
        if load.max_temperature_c is None or peaks[profile.id] <= load.max_temperature_c
    ]
    if leading and not cool_enough and load.max_temperature_c is not None:
        yield (
            "max_temperature",
            f"{degrees(load.max_temperature_c, unit):.15g} °{unit} is less than profile {shown(load.profile)} reaches, "
            f"{degrees(min(peaks.values()), unit):.15g} °{unit}, so the load finds no firing",
            "name a cooler profile, or check what the material stands",
        )
        return
    why = [
        {
            kiln.id: _why_not(kiln, profile, row, load)
            for kiln in studio.kilns
            if not load.kilns or kiln.id in load.kilns
        }
        for profile, row in cool_enough
    ]
    if why and all(reason is not None for reasons in why for reason in reasons.values()):
        told = ", ".join(f"{name}: {reason}" for name, reason in list(why[0].items())[:12])
        yield (
            "profile",
            f"no kiln takes this load ({told})",
            "split the load, or change what hinders",
        )


def _leading_profiles(studio: Studio, load: Load) -> list[tuple[Profile, int | None]]:
    """The profiles that a firing with this load may run, and the size row of each for this load alone."""
    own = studio.profile_by_id[load.profile]
    found = []
    for profile in studio.profiles:
        if profile.id == own.id or (own.id in profile.shares_with and _takes_guests_of(studio, profile, own)):
            try:
                found.append((profile, size_row(profile, [load])))
            except LookupError:
                continue
    return found


def _takes_guests_of(studio: Studio, profile: Profile, own: Profile) -> bool:
    """Whether a firing is unloaded and vented as the guests' own profile asks."""
    as_cool = studio.unload_below_c(profile) <= studio.unload_below_c(own) + 1e-9
    return own.unload == profile.unload and as_cool and (profile.vent or not own.vent)


def _why_not(kiln: Kiln, profile: Profile, row: int | None, load: Load) -> str | None:
    if profile.work not in kiln.work:
        return f"does no {profile.work}"
    if profile.vent and not kiln.vented:
        return "has no vent"
    if profile.peak_c(row) > kiln.max_temperature_c:
        return "is not hot enough"
    layer_mm = load.height_mm + kiln.shelf_gap_mm
    if layer_mm > kiln.height_mm:
        return f"is {kiln.height_mm:.15g} mm high, the piece with its shelf {layer_mm:.15g} mm"
    try:
        full, _ = area_on_last_layer_cm2(load, kiln.shelf_area_cm2)
    except LookupError:
        return "has too small a shelf for one piece"
    if (full + 1) * layer_mm > kiln.height_mm:
        return f"needs {full + 1} layers of {layer_mm:.15g} mm in {kiln.height_mm:.15g} mm"
    return None
