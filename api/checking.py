"""What looks doubtful in a studio that can be read: its data, and its profiles by the rules of the trade."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from api.single_firing import compute_firing
from api.words import Words
from scheduler.firing.rules import profile_warnings
from scheduler.firing.warning import ProfileWarning
from shared.clock import Minute
from shared.files import folder_warnings
from shared.kilns import Kiln
from shared.loads import Load
from shared.profiles import Profile
from shared.studio import Studio

SLOW = "ramps_followed"
"""The trade rule whose doubts about one profile in one kiln are told together: where one ramp is too fast for a kiln,
most of the profile's sizes have it."""


def warnings_of(studio: Studio, loads: Sequence[Load], now: Minute, words: Words) -> tuple[str, ...]:
    """All warnings, one line each: first those about the files, then those about profiles in kilns."""
    return (*(str(fault) for fault in folder_warnings(studio, loads, now)), *_trade_warnings(studio, loads, words))


def _trade_warnings(studio: Studio, loads: Sequence[Load], words: Words) -> list[str]:
    """What the trade would doubt of each profile in each kiln that may fire it, kilns that share a doubt together."""
    kilns_of: dict[tuple[str, str, str], list[str]] = {}
    slow: dict[tuple[str, str], list[str]] = {}
    for profile in studio.profiles:
        masses = [load.mass_kg for load in loads if load.profile == profile.id]
        for kiln in studio.kilns:
            if profile.work in kiln.work and (kiln.vented or not profile.vent):
                for row in profile.rows:
                    for warning in _warnings(studio, kiln, profile, row, median(masses) if masses else None):
                        where = warning.where.removesuffix(f", kiln {kiln.id}")
                        if warning.rule == SLOW:
                            slow.setdefault((profile.id, kiln.id), []).append(_slow(warning, where, profile, words))
                        else:
                            kilns_of.setdefault((where, warning.text, warning.source), []).append(kiln.id)
    return [
        words("command.trade", where=where, kilns=", ".join(kilns), text=text, source=source)
        for (where, text, source), kilns in kilns_of.items()
    ] + [
        words.count("command.slow", len(places), profile=profile, kiln=kiln, places="; ".join(places))
        for (profile, kiln), places in slow.items()
    ]


def _slow(warning: ProfileWarning, where: str, profile: Profile, words: Words) -> str:
    """One ramp that a kiln cannot follow: where, and how long it is written and takes."""
    numbers = dict(warning.numbers)
    place = where.removeprefix(f"profile {profile.id}, ")
    return words("command.slow_ramp", place=place, written=numbers["written_min"], took=numbers["takes_min"])


def _warnings(
    studio: Studio, kiln: Kiln, profile: Profile, row: int | None, mass_kg: float | None
) -> list[ProfileWarning]:
    """The warnings for one size row in one kiln, with the mass that such loads have [kg]."""
    size = None if row is None else profile.sizes[row].up_to
    course = compute_firing(studio, kiln, profile, mass_kg, size, None).course
    return profile_warnings(kiln, profile, row, course, (), studio.place.temperature)
