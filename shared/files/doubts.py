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
from shared.texts import say
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
            Fault("loads.csv", say("fault.load_column", load=load.id, column=column), *words)
            for column, *words in (*_about_times(studio, load, now), *_about_a_place(studio, load))
        )
    return found


Words = tuple[str, str, str]
"""Place, problem and remedy."""


def _about_the_studio(studio: Studio) -> Iterator[Words]:
    if not studio.shifts:
        yield "shifts", say("fault.nobody_ever_there"), say("fault.write_least_one")
    if not studio.profiles:
        yield "", say("fault.there_no_profiles"), say("fault.write_profiles_into")


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
            say(
                "fault.kw_does_not",
                kilowatts=kiln.kilowatts,
                volts=kiln.volts,
                amps=kiln.amps,
                legs=say("fault.one_leg") if len(legs) == 1 else say("fault.legs", number=len(legs)),
                meant=listing(say("fault.kw", power=power) for power in meant),
            ),
            say("fault.read_volts_amps"),
        )
    for circuit in studio.feeders(kiln.circuit):
        if kiln.amps > circuit.usable_amps + 1e-9:
            yield (
                " › amps",
                say(
                    "fault.more_than_circuit",
                    amps=kiln.amps,
                    circuit=shown(circuit.id),
                    usable_amps=circuit.usable_amps,
                    breaker_amps=circuit.breaker_amps,
                    continuous_share=circuit.continuous_share,
                ),
                say("fault.check_both_figures"),
            )
    if not any(profile.work in kiln.work for profile in studio.profiles):
        yield " › work", say("fault.there_no_profile", work=listing(kiln.work)), say("fault.add_a_profile")


def _about_a_profile(studio: Studio, profile: Profile) -> Iterator[Words]:
    if profile.unload == "hot" and all(profile.segments(row)[-1].hold_up_to_minutes is None for row in profile.rows):
        yield (
            "",
            say("fault.unloaded_hot_but"),
            say("fault.give_last_segment"),
        )
    kilns = [kiln for kiln in studio.kilns if profile.work in kiln.work and (kiln.vented or not profile.vent)]
    if not kilns and any(profile.work in kiln.work for kiln in studio.kilns):
        yield " › vent", say("fault.must_vented_but"), say("fault.see_vent_then")
    unit = studio.place.temperature
    hottest = max((kiln.max_temperature_c for kiln in kilns), default=math.inf)
    for row in profile.rows:
        if profile.peak_c(row) > hottest:
            yield (
                "" if row is None else f" › sizes[{row}]",
                say(
                    "fault.goes_kilns_only",
                    peak=degrees(profile.peak_c(row), unit),
                    unit=unit,
                    hottest=degrees(hottest, unit),
                ),
                say("fault.lower_target_give"),
            )


def _about_times(studio: Studio, load: Load, now: Minute | None) -> Iterator[Words]:
    zone = studio.place.zone
    if load.ready is not None and load.promised is not None and load.promised <= load.ready:
        yield (
            "promised",
            say("fault.is_not_after", promised=iso_text(load.promised, zone), ready=iso_text(load.ready, zone)),
            say("fault.promise_later_time"),
        )
    if now is not None and load.promised is not None and load.promised < now:
        yield "promised", say("fault.has_passed", value=iso_text(load.promised, zone)), say("fault.agree_on_new")
    if now is not None and load.session_at is not None and load.session_at < now:
        yield (
            "session_at",
            say("fault.has_passed", value=iso_text(load.session_at, zone)),
            say("fault.book_the_session"),
        )
    if load.gap_minutes and load.after is None:
        yield "gap_hours", say("fault.given_without_after"), say("fault.name_earlier_stage")


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
            say(
                "fault.less_than_profile",
                max_temperature=degrees(load.max_temperature_c, unit),
                unit=unit,
                profile=shown(load.profile),
                lowest_peak=degrees(min(peaks.values()), unit),
            ),
            say("fault.name_cooler_profile"),
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
        told = tuple(say("fault.of_kiln", kiln=name, reason=reason) for name, reason in list(why[0].items())[:12])
        yield (
            "profile",
            say("fault.no_kiln_takes", told=told),
            say("fault.split_load_change"),
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
        return say("fault.does_no", work=profile.work)
    if profile.vent and not kiln.vented:
        return say("fault.has_no_vent")
    if profile.peak_c(row) > kiln.max_temperature_c:
        return say("fault.is_not_hot")
    layer_mm = load.height_mm + kiln.shelf_gap_mm
    if layer_mm > kiln.height_mm:
        return say("fault.mm_high_piece", height=kiln.height_mm, layer=layer_mm)
    try:
        full, _ = area_on_last_layer_cm2(load, kiln.shelf_area_cm2)
    except LookupError:
        return say("fault.too_small_shelf")
    if (full + 1) * layer_mm > kiln.height_mm:
        return say("fault.needs_layers_mm", layers=full + 1, layer=layer_mm, height=kiln.height_mm)
    return None
