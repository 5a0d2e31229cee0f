"""One firing by itself, outside any plan: what somebody asks about before a charge exists."""

from __future__ import annotations

from dataclasses import dataclass

from api.requests import row_asked_for
from scheduler.firing.course import Course, FiringRequest
from scheduler.firing.simulate import simulate_one
from shared.kilns import Kiln
from shared.profiles import Profile
from shared.studio import Studio


@dataclass(frozen=True, slots=True)
class SingleFiring:
    """One firing of one charge, computed. ``mass_given`` is False where the ware's mass is an assumption."""

    kiln: Kiln
    profile: Profile
    row: int | None
    request: FiringRequest
    course: Course
    mass_given: bool


def compute_firing(
    studio: Studio, kiln: Kiln, profile: Profile, mass_kg: float | None, size: float | None, layers: int | None
) -> SingleFiring:
    """Compute one firing.

    Parameters
    ----------
    studio, kiln, profile
        The studio, and which of its kilns fires which of its profiles.
    mass_kg
        Mass of the ware [kg]; None: as much as the shelves in use weigh, an assumption of our own.
    size
        Largest piece, in the unit of ``profile.sized_by``; None: the last row.
    layers
        Shelves in use [-]; None: those of a full kiln.
    """
    row = row_asked_for(profile, size)
    on_layers = kiln.full_layers if layers is None else layers
    ware_kg = kiln.furniture_for(on_layers) if mass_kg is None else mass_kg
    request = firing_request(studio, kiln, profile, row, ware_kg, on_layers)
    return SingleFiring(kiln, profile, row, request, simulate_one(request), mass_kg is not None)


def warm_up(studio: Studio) -> None:
    """Compute one firing, so that the thermal model is compiled before the planner's clock runs.

    The compiled code is kept on disk: it takes its ten seconds or more only after an install.
    """
    pairs = ((kiln, profile) for kiln in studio.kilns for profile in studio.profiles if profile.work in kiln.work)
    first = next(pairs, None)
    if first is not None:
        compute_firing(studio, *first, mass_kg=None, size=None, layers=None)


def firing_request(
    studio: Studio, kiln: Kiln, profile: Profile, row: int | None, ware_kg: float, layers: int
) -> FiringRequest:
    """What the thermal model is asked: a charge of ``ware_kg`` [kg] on ``layers`` shelves, with the least holds."""
    return FiringRequest(
        kiln=kiln,
        work=profile.work,
        segments=profile.segments(row),
        unload_hot=profile.unload == "hot",
        vented=profile.vent and kiln.vented,
        ware_kg=ware_kg,
        layers=layers,
        room_c=studio.place.room_c,
        unload_below_c=studio.unload_below_c(profile),
        load_below_c=studio.rules.load_below_c,
    )
