"""What a person asks for, looked up in a studio: a kiln, a profile, a day. What is not there is answered by what is."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from difflib import get_close_matches

from pydantic_core import PydanticCustomError

from shared.clock import Minute, local_time, read_moment, wall_minute
from shared.errors import RequestError
from shared.kilns import Kiln
from shared.plans import Plan
from shared.profiles import Profile
from shared.studio import Studio


def kiln_named(studio: Studio, kiln_id: str) -> Kiln:
    """The kiln with this id.

    Raises
    ------
    RequestError
        If the studio has none; the message names those that it has.
    """
    if kiln_id not in studio.kiln_by_id:
        raise RequestError(f"the studio has no kiln {kiln_id!r}; {_known(kiln_id, studio.kiln_by_id)}")
    return studio.kiln_by_id[kiln_id]


def profile_named(studio: Studio, profile_id: str) -> Profile:
    """The profile with this id.

    Raises
    ------
    RequestError
        If the studio has none; the message names those that it has.
    """
    if profile_id not in studio.profile_by_id:
        raise RequestError(f"the studio has no profile {profile_id!r}; {_known(profile_id, studio.profile_by_id)}")
    return studio.profile_by_id[profile_id]


def row_asked_for(profile: Profile, size: float | None) -> int | None:
    """The size row of a profile that takes pieces of ``size``; without a size the last row, for the largest.

    Raises
    ------
    RequestError
        If no row is large enough, or a size is given for a profile without rows.
    """
    if not profile.sizes:
        if size is not None:
            raise RequestError(f"profile {profile.id} is not sized; leave --size out")
        return None
    if size is None:
        return len(profile.sizes) - 1
    try:
        return profile.row_for(size)
    except LookupError:
        limit = profile.sizes[-1].up_to
        raise RequestError(
            f"profile {profile.id} has no row for {profile.sized_by} {size:g}; its largest is {limit:g}"
        ) from None


def moment_asked_for(text: str, option: str, studio: Studio) -> Minute:
    """The minute that an option's time means, in the studio's zone.

    Raises
    ------
    RequestError
        If it is no time.
    """
    try:
        return read_moment(text, studio.place.zone)
    except PydanticCustomError as error:
        raise RequestError(f"{option}: {text!r} {error.message()}") from None


def day_asked_for(text: str | None, now: Minute, studio: Studio) -> date:
    """The day to show: the one named, else tomorrow.

    Raises
    ------
    RequestError
        If it is no day, or over already.
    """
    today = local_time(now, studio.place.zone).date()
    if text is None:
        return today + timedelta(days=1)
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise RequestError(f"--day: {text!r} is not a day; write it as 2026-11-30") from None
    if day < today:
        raise RequestError(f"--day: {text} is over (now is {today}); name today or a later day")
    if (day - today).days > 366:
        raise RequestError(f"--day: {text} is more than a year ahead; name an earlier day")
    return day


def plan_begin(day: date, now: Minute, studio: Studio) -> Minute:
    """When the plan begins: the day's local midnight, or now on the studio's grid where the day has begun."""
    grid = studio.rules.grid_minutes
    midnight = wall_minute(day, 0, studio.place.zone)
    return midnight + max(0, -(-(now - midnight) // grid)) * grid


def _known(asked: str, known: Iterable[str]) -> str:
    names = sorted(known)
    near = get_close_matches(asked, names, n=1)
    listed = ", ".join(names) or "none"
    return f"did you mean {near[0]!r}? It has {listed}" if near else f"it has {listed}"


def firing_named(plan: Plan, name: str) -> str:
    """The id of a firing of a plan that a request names.

    Raises
    ------
    RequestError
        If there is none.
    """
    known = [firing.id for firing in plan.firings]
    if name not in known:
        raise RequestError(f"there is no firing {name}; there are {', '.join(known) or 'none'}")
    return name
