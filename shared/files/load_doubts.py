"""What is doubtful about loads that can be read: times, a place for each, masses. Nothing here stops a plan."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from shared.clock import Minute, local_time
from shared.families import family_key, known_families, near_family
from shared.files.values import listing, shown
from shared.kilns import Kiln
from shared.loads import Load, area_on_last_layer_cm2, size_row
from shared.profiles import Profile
from shared.studio import Studio
from shared.texts import say
from shared.units import degrees

LOW_MM = 50.0
"""Work that is written lower than this and weighs too much may have its height in centimetres [mm]; own choice."""

SOLID_KG_PER_L = 2.5
"""Solid soda-lime glass [kg/l]: 2500 kg/m³ (EN 572-1, from memory). Fired clay and investment are lighter; only metal
and lead glass are heavier, and even those seldom as a block that fills its footprint and height."""

ROUNDED = 1.1
"""What rounded measures of a flat solid piece may add [-]; own choice."""

FULL_KILN_KG_PER_L = 1.0
"""Ware above which a full kiln is doubted [kg per litre inside]; own choice without a source: the heaviest ware, flasks
of investment or glass in moulds, is 1.2 to 2 kg/l and leaves about half of the room empty. Pots make 0.1 to 0.4."""

MOST_NAMED = 6
"""How many loads are named in one warning about many; own choice."""

Words = tuple[str, str, str]
"""Column, problem and remedy."""


def about_a_load(studio: Studio, load: Load, now: Minute | None) -> Iterator[Words]:
    """What is doubtful about one load: its times, whether a kiln takes it, what it weighs."""
    yield from _about_times(studio, load, now)
    taking = _kilns_that_take(studio, load)
    if isinstance(taking, list):
        yield from _about_mass(load, taking)
    else:
        yield taking


def about_bare_dates(studio: Studio, loads: Sequence[Load]) -> Iterator[Words]:
    """Promises and sessions at 00:00, where a date without a time was read: one word for all of a column.

    ``ready`` is left out, since the beginning of the day is what such a date means there.
    """
    zone = studio.place.zone
    for column in ("promised", "session_at"):
        times = {load.id: local_time(at, zone) for load in loads if (at := getattr(load, column)) is not None}
        bare = [(name, at) for name, at in times.items() if (at.hour, at.minute) == (0, 0)]
        if bare:
            told = tuple(say("fault.load_at", load=name, at=at) for name, at in bare[:MOST_NAMED])
            if len(bare) > MOST_NAMED:
                told = (*told, say("fault.and_more", number=len(bare) - MOST_NAMED))
            later = bare[0][1].replace(hour=17).strftime("%Y-%m-%dT%H:%M")
            yield column, say("fault.taken_for_midnight", told=told), say("fault.write_hour_too", example=later)


def about_families(loads: Sequence[Load]) -> Iterator[tuple[str, str, str, str]]:
    """Families that look like a commoner one misspelt, each at the first load that has it: load, column, words."""
    counts = known_families(load.family for load in loads)
    common: list[str] = []
    for name, count in counts.items():
        meant = near_family(name, [other for other in common if counts[other] > count or count == 1])
        if meant is None:
            common.append(name)
            continue
        first = next(load.id for load in loads if load.family_key == family_key(name))
        problem = say("fault.family_near", family=shown(name), meant=shown(meant))
        yield first, "family", problem, say("fault.did_you_mean", meant=meant)


def _about_times(studio: Studio, load: Load, now: Minute | None) -> Iterator[Words]:
    zone = studio.place.zone
    if load.ready is not None and load.promised is not None and load.promised <= load.ready:
        yield (
            "promised",
            say("fault.is_not_after", promised=local_time(load.promised, zone), ready=local_time(load.ready, zone)),
            say("fault.promise_later_time"),
        )
    if now is not None and load.promised is not None and load.promised < now:
        yield "promised", say("fault.has_passed", value=local_time(load.promised, zone)), say("fault.agree_on_new")
    if now is not None and load.session_at is not None and load.session_at < now:
        yield (
            "session_at",
            say("fault.has_passed", value=local_time(load.session_at, zone)),
            say("fault.book_the_session"),
        )
    if load.gap_minutes and load.after is None:
        yield "gap_hours", say("fault.given_without_after"), say("fault.name_earlier_stage")


def _kilns_that_take(studio: Studio, load: Load) -> list[Kiln] | Words:
    """The kilns that take the load, with a profile that it may be fired in; where there is none, why."""
    leading = _leading_profiles(studio, load)
    unit = studio.place.temperature
    peaks = {profile.id: profile.peak_c(row) for profile, row in leading}
    cool_enough = [
        (profile, row)
        for profile, row in leading
        if load.max_temperature_c is None or peaks[profile.id] <= load.max_temperature_c
    ]
    if leading and not cool_enough and load.max_temperature_c is not None:
        return (
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
    allowed = [kiln for kiln in studio.kilns if not load.kilns or kiln.id in load.kilns]
    why = [{kiln.id: _why_not(kiln, profile, row, load) for kiln in allowed} for profile, row in cool_enough]
    if why and all(reason is not None for reasons in why for reason in reasons.values()):
        others = _others_that_take(studio, load, cool_enough)
        if others:
            return _tied(why[0], others)
        told = tuple(say("fault.of_kiln", kiln=name, reason=reason) for name, reason in list(why[0].items())[:12])
        return "profile", say("fault.no_kiln_takes", told=told), say("fault.split_load_change")
    return [kiln for kiln in allowed if any(reasons[kiln.id] is None for reasons in why)]


def _others_that_take(studio: Studio, load: Load, leading: Sequence[tuple[Profile, int | None]]) -> list[str]:
    """Kilns that would take a load if it were not tied to others."""
    return [
        kiln.id
        for kiln in studio.kilns
        if load.kilns
        and kiln.id not in load.kilns
        and any(_why_not(kiln, profile, row, load) is None for profile, row in leading)
    ]


def _tied(why: Mapping[str, str | None], others: Sequence[str]) -> Words:
    """A load that may go into some kilns only, of which none takes it: why, and which others would."""
    told = tuple(say("fault.of_kiln", kiln=name, reason=reason) for name, reason in list(why.items())[:MOST_NAMED])
    remedy = say("fault.untie_it", kilns=listing(others[:MOST_NAMED]))
    return "kilns", say("fault.tied_to_kilns", told=told), remedy


def _about_mass(load: Load, taking: Sequence[Kiln]) -> Iterator[Words]:
    """A mass that such pieces, or a kiln full of them, cannot have."""
    room_l = load.footprint_cm2 * load.height_mm / 10_000.0
    if load.mass_kg > ROUNDED * SOLID_KG_PER_L * room_l:
        yield (
            "mass_kg",
            say(
                "fault.heavier_than_solid",
                mass=load.mass_kg,
                footprint=load.footprint_cm2,
                height=load.height_mm,
                density=load.mass_kg / room_l,
                solid=SOLID_KG_PER_L,
            ),
            say("fault.height_in_millimetres", meant=load.height_mm * 10.0)
            if load.height_mm < LOW_MM and load.mass_kg <= SOLID_KG_PER_L * room_l * 10.0
            else say("fault.check_mass_and_size"),
        )
        return
    largest = max(taking, key=lambda kiln: kiln.volume_l, default=None)
    if largest is not None and load.mass_kg > FULL_KILN_KG_PER_L * largest.volume_l:
        yield (
            "mass_kg",
            say(
                "fault.heavy_for_kiln",
                mass=load.mass_kg,
                density=load.mass_kg / largest.volume_l,
                kiln=shown(largest.id),
                volume=largest.volume_l,
                full=FULL_KILN_KG_PER_L,
            ),
            say("fault.check_mass_and_shelves", most=FULL_KILN_KG_PER_L * largest.volume_l),
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
    """Whether a firing is unloaded and vented as the guests' own profile asks, and its session has people enough."""
    as_cool = studio.unload_below_c(profile) <= studio.unload_below_c(own) + 1e-9
    as_many = own.unload_people <= profile.unload_people
    return own.unload == profile.unload and as_cool and as_many and (profile.vent or not own.vent)


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
