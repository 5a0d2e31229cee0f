"""What a firing of one charge in one kiln is, and what the thermal model says of it: the model's fixed interface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.kilns import Kiln
from shared.profiles import Segment


@dataclass(frozen=True, slots=True)
class FiringRequest:
    """One firing to compute.

    Attributes
    ----------
    kiln
        The kiln, with its fitted factors.
    work
        Kind of work, which tells what the ware is made of (``profile.work``).
    segments
        The segments to follow.
    unload_hot
        True: the pieces are taken during the last hold, which lasts ``last_hold_minutes``.
    ware_kg, layers
        Mass of the ware [kg] and number of shelf layers in use [-]; the furniture follows from the layers.
    room_c
        Room temperature [°C].
    unload_below_c, load_below_c
        The kiln is opened below the first and loaded again below the second [°C].
    last_hold_minutes
        Length of the last segment's hold [min]; None: the segment's own least hold.
    """

    kiln: Kiln
    work: str
    segments: tuple[Segment, ...]
    unload_hot: bool
    vented: bool
    ware_kg: float
    layers: int
    room_c: float
    unload_below_c: float
    load_below_c: float
    last_hold_minutes: float | None = None


@dataclass(frozen=True, slots=True)
class SegmentCourse:
    """When one segment's target is reached and its hold ends [min after the start]."""

    reached_minutes: float
    hold_ends_minutes: float


@dataclass(frozen=True, slots=True)
class Course:
    """The computed course of one firing. All times are minutes after the start of the profile.

    Attributes
    ----------
    reached
        False where the kiln cannot reach a target (on this supply, with this charge); the times are then
        meaningless and ``stalled_at_c`` says how far it gets.
    target_minutes
        Last segment's target reached.
    hot_minutes
        The last moment at which the elements may draw power: the end of the last hold or controlled ramp.
    safe_minutes
        Below ``unload_below_c``, lid shut (cool); the target plus the segment's least hold (hot).
    cold_minutes
        Below ``load_below_c`` if the kiln is left shut: from the end of heating, with the ware in it (cool) or
        emptied (hot, counted from ``hot_minutes``).
    open_cool_minutes
        How long the emptied kiln takes from the moment it is unloaded at ``safe_minutes`` (cool) or from the end of
        the session (hot) until it is below ``load_below_c``.
    """

    reached: bool
    stalled_at_c: float | None
    target_minutes: float
    hot_minutes: float
    safe_minutes: float
    cold_minutes: float
    open_cool_minutes: float
    segments: tuple[SegmentCourse, ...]
    kwh: float
    step_minutes: float
    temperature_c: NDArray[np.float64]
    power_kw: NDArray[np.float64]

    def free_minutes(self, unloaded_minutes: float) -> float:
        """When the kiln is empty and below ``load_below_c``, if unloading ends at ``unloaded_minutes`` [min].

        It has cooled shut, or cools open from the end of unloading, whichever is sooner.
        """
        return max(unloaded_minutes, min(self.cold_minutes, unloaded_minutes + self.open_cool_minutes))
