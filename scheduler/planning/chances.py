"""How sure a plan is: the chance that each promise is kept and that a session finds its kiln hot, by Monte Carlo.

What is drawn, for each sample of the whole plan:

- how long each firing takes: log-normal, by the band of its kiln's fit (`scheduler.firing.bands`). What is not known of
  a kiln is the same for all its firings, what differs from one firing to the next is drawn for each; the two shares
  follow from the variances of the power factor, which counts most.
- a kiln too weak for its firing: the elements' power and the losses are not known exactly, and of kilns that were never
  fitted some do not get to the peak that their plates promise. How far from that a firing is, is found with the thermal
  model along the likeliest way to it (first-order reliability, Hasofer & Lind, J. Eng. Mech. Div. ASCE 100 (1974) 111).
- a start that is forgotten: 3 in 100 (trade notes: nobody there to cast 3 %, staff sick 2 %; taken for starts too,
  common practice without a source of its own). It is made good when somebody is there, an hour after at the earliest.
- a firing that breaks off: 1 in 115 for elements, relays and thermocouples (trade notes: 1 in 80 to 150), and 1 in 100
  for a breaker that trips. Its loads are fired again from the start, once the kiln would have been opened.
- a load that has to be fired again: 5 in 100 (trade notes: misfits, 5 % of loads). It rides in a like firing that
  begins when it is out, and takes as long as the first.

What is assumed: people do what the plan says, in its order, as soon after its times as they can; whoever is on duty
can take on what has moved (hands and circuits are not counted again for what is late); a kiln is free as long after
its opening as planned; a session that does not find its people within the longest hold is held another time, as if
the loads were fired again. Not in it: power cuts, wrong clay, loads that come late, a plan made again in between.
Since people would plan again, the chances are on the careful side for what lies far ahead.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.firing.bands import Spread, firing_band
from scheduler.firing.course import FiringRequest
from scheduler.firing.network import Factors
from scheduler.firing.simulate import simulate_afresh
from scheduler.firing.uncertainty import POWER_SCATTER, SCATTER, covariance_of
from shared.calendar import staffed_spans
from shared.clock import Minute
from shared.kilns import Kiln
from shared.loads import Load
from shared.plans import Firing, Plan
from shared.studio import Studio

Minutes = NDArray[np.int64]
Truths = NDArray[np.bool_]

AFTER_MINUTES = 14 * 24 * 60
"""How long after the plan's end people are looked for [min]: a fortnight; house choice. Later counts as never."""

STRONG = 3.0
"""Standard deviations beyond which a kiln counts as sure to finish [-]: 1 in 700 does not."""

NEVER: Minute = 1 << 40


@dataclass(frozen=True, slots=True)
class Assumptions:
    """Chances of what goes wrong [-]; sources in the module's description.

    Attributes
    ----------
    forgotten
        That a start is forgotten.
    breaks_off
        That a firing breaks off.
    again
        That a load has to be fired again.
    noticed_minutes
        How long after its time a forgotten start is noticed at the earliest [min].
    """

    forgotten: float = 0.03
    breaks_off: float = 1.0 / 115.0 + 0.01
    again: float = 0.05
    noticed_minutes: int = 60


@dataclass(frozen=True, slots=True)
class LoadChance:
    """When a load is out: in one case of ten before ``early``, in nine before ``late`` [min]; ``kept`` its promise."""

    load: str
    firing: str
    promised: Minute | None
    kept: float | None
    early: Minute
    middle: Minute
    late: Minute


@dataclass(frozen=True, slots=True)
class SessionChance:
    """The chance that the kiln is ready when a session begins as planned."""

    firing: str
    kiln: str
    at: Minute
    hot: float


@dataclass(frozen=True, slots=True)
class Chances:
    """How sure a plan is.

    ``at_the_edge`` are firings that a slightly weaker kiln would not finish.
    """

    loads: tuple[LoadChance, ...]
    sessions: tuple[SessionChance, ...]
    at_the_edge: tuple[str, ...]
    samples: int

    @property
    def error(self) -> float:
        """Standard error of a chance near one half [-]."""
        return 0.5 / math.sqrt(self.samples)


def chances(
    studio: Studio,
    loads: Sequence[Load],
    plan: Plan,
    *,
    samples: int = 4000,
    seed: int = 0,
    assumptions: Assumptions | None = None,
) -> Chances:
    """How sure each promise and each session of a proved plan is.

    Parameters
    ----------
    studio, loads, plan
        The studio, what waits in it, and its plan.
    samples
        How often the plan is played through [-].
    seed
        The same seed gives the same chances.
    assumptions
        How often things go wrong.
    """
    return _Play(studio, loads, plan, samples, seed, assumptions or Assumptions()).chances()


def request_of(studio: Studio, loads: Sequence[Load], firing: Firing) -> FiringRequest:
    """What the thermal model is asked for a firing of a plan, with its least hold."""
    kiln, profile = studio.kiln_by_id[firing.kiln], studio.profile_by_id[firing.profile]
    return FiringRequest(
        kiln=kiln,
        work=profile.work,
        segments=profile.segments(firing.size_row),
        unload_hot=profile.unload == "hot",
        vented=profile.vent and kiln.vented,
        ware_kg=sum(load.mass_kg for load in loads if load.id in firing.loads),
        layers=len(firing.layers),
        room_c=studio.place.room_c,
        unload_below_c=studio.unload_below_c(profile),
        load_below_c=studio.rules.load_below_c,
    )


def common_share(kiln: Kiln) -> float:
    """Part of the variance of a firing's time that all firings of a kiln share [-]."""
    known = float(covariance_of(kiln.fitted)[0, 0])
    return known / (known + POWER_SCATTER**2)


def strength(request: FiringRequest) -> float:
    """By how many standard deviations the kiln may be weaker than thought and still finish a firing [-].

    Weaker is less power against more loss: near the peak the kiln stalls where the one no longer makes up for the
    other. ``math.inf`` beyond `STRONG`.
    """
    known = covariance_of(request.kiln.fitted) + SCATTER
    way = np.array([-1.0, 1.0, 0.0])
    step = known @ way / math.sqrt(float(way @ known @ way))

    def finishes(deviations: float) -> bool:
        factors = Factors(*(math.exp(value) for value in deviations * step))
        return simulate_afresh(request, factors)[0].reached

    if finishes(STRONG):
        return math.inf
    low, high = -STRONG, STRONG
    while high - low > 0.1:
        middle = (low + high) / 2.0
        low, high = (middle, high) if finishes(middle) else (low, middle)
    return (low + high) / 2.0


@dataclass
class _Outcome:
    """One firing in every sample: its start, when its loads are out, when the kiln is free; whether it was hot."""

    out: Minutes
    free: Minutes
    length: Minutes
    hot: Truths | None


class _Play:
    """Plays a plan through in all samples at once, firing by firing in the order of loading."""

    def __init__(
        self, studio: Studio, loads: Sequence[Load], plan: Plan, samples: int, seed: int, assumptions: Assumptions
    ) -> None:
        self.studio, self.loads, self.plan = studio, {load.id: load for load in loads}, plan
        self.samples, self.assumptions = samples, assumptions
        self.random = np.random.default_rng(seed)
        self.origin = min([plan.begin, *(firing.load_at for firing in plan.firings)]) - 24 * 60
        self.until = max([plan.end, *(firing.free_at for firing in plan.firings)]) + AFTER_MINUTES
        self._next: dict[tuple[str | None, int], Minutes] = {}
        self._of_kiln = {kiln.id: self.random.standard_normal(samples) for kiln in studio.kilns}
        self._weak_kiln = {kiln.id: self.random.standard_normal(samples) for kiln in studio.kilns}
        self.edge: list[str] = []

    def chances(self) -> Chances:
        """Play, and count."""
        outcomes: dict[str, _Outcome] = {}
        out: dict[str, Minutes] = {}
        free: dict[str, Minutes] = {}
        told: list[LoadChance] = []
        sessions: list[SessionChance] = []
        for firing in sorted(self.plan.firings, key=lambda f: (f.load_at, f.id)):
            found = self._fired(firing, free.get(firing.kiln), out)
            outcomes[firing.id] = found
            free[firing.kiln] = found.free
            if found.hot is not None:
                sessions.append(
                    SessionChance(firing.id, firing.kiln, firing.unload_at, round(float(found.hot.mean()), 6))
                )
            for name in firing.loads:
                again = self.random.random(self.samples) < self.assumptions.again
                out[name] = np.where(again, self._staffed(found.out + found.length, None), found.out)
                told.append(self._load_chance(name, firing, out[name]))
        order = {name: number for number, name in enumerate(self.loads)}
        told.sort(key=lambda row: order.get(row.load, 0))
        return Chances(tuple(told), tuple(sessions), tuple(self.edge), self.samples)

    def _fired(self, firing: Firing, free: Minutes | None, out: dict[str, Minutes]) -> _Outcome:
        studio, assumed, random = self.studio, self.assumptions, self.random
        kiln, profile = studio.kiln_by_id[firing.kiln], studio.profile_by_id[firing.profile]
        begun = firing.start_at < self.plan.begin
        loaded = np.full(self.samples, firing.load_at, dtype=np.int64)
        if not begun:
            waits = loaded if free is None else np.maximum(loaded, free)
            for name in firing.loads:
                load = self.loads.get(name)
                if load is not None and load.after in out:
                    waits = np.maximum(waits, out[load.after] + math.ceil(load.gap_minutes))
            loaded = np.where(waits > firing.load_at, self._staffed(waits, None), loaded)
        start = np.maximum(firing.start_at, loaded + math.ceil(kiln.load_minutes))
        if not begun:
            forgotten = random.random(self.samples) < assumed.forgotten
            start = np.where(forgotten, self._staffed(start + assumed.noticed_minutes, None), start)
        request = request_of(studio, tuple(self.loads.values()), firing)
        band = firing_band(request)
        if band.may_fail:
            self.edge.append(firing.id)
        hot = profile.unload == "hot"
        ready = start + self._drawn(band.hot if hot else band.safe, kiln)
        skill, people = profile.skill if hot else None, profile.unload_people
        unload = np.maximum(ready, firing.unload_at)
        unload = np.where(unload > firing.unload_at, self._staffed(unload, skill, people), unload)
        length = unload + firing.unload_minutes - loaded
        failed = random.random(self.samples) < assumed.breaks_off
        failed |= self._correlated(self._weak_kiln[kiln.id], kiln) > strength(request)
        was_hot: Truths | None = None
        if hot:
            was_hot = (ready <= firing.unload_at) & ~failed
            last = profile.segments(firing.size_row)[-1]
            failed |= unload + firing.unload_minutes > ready - last.hold_minutes + max(
                last.longest_hold_minutes, last.hold_minutes + firing.unload_minutes
            )
        unload = np.where(failed, self._staffed(unload + length, skill, people), unload)
        emptied = unload + firing.unload_minutes
        return _Outcome(emptied, emptied + (firing.free_at - firing.out_at), length, was_hot)

    def _drawn(self, spread: Spread, kiln: Kiln) -> Minutes:
        """How long until a moment of a firing, in each sample [min], rounded up."""
        drawn = self._correlated(self._of_kiln[kiln.id], kiln)
        return np.ceil(spread.middle_minutes * np.exp(spread.log_error * drawn)).astype(np.int64)

    def _correlated(self, of_kiln: NDArray[np.float64], kiln: Kiln) -> NDArray[np.float64]:
        """Standard normal values of one firing, in part those of its kiln."""
        share = common_share(kiln)
        own = self.random.standard_normal(self.samples)
        return np.asarray(math.sqrt(share) * of_kiln + math.sqrt(1.0 - share) * own)

    def _staffed(self, at: Minutes, skill: str | None, people: int = 1) -> Minutes:
        """The first moment from ``at`` on at which ``people`` are there, somebody with a skill among them."""
        if (skill, people) not in self._next:
            here = np.zeros(self.until - self.origin + 1, dtype=np.bool_)
            for span in staffed_spans(self.studio, self.origin, self.until, people, skill):
                here[max(0, span.begin - self.origin) : max(0, span.end - self.origin)] = True
            position = np.where(here, np.arange(len(here), dtype=np.int64) + self.origin, NEVER)
            position[-1] = NEVER
            self._next[skill, people] = np.minimum.accumulate(position[::-1])[::-1]
        index = np.clip(at - self.origin, 0, self.until - self.origin)
        return self._next[skill, people][index]

    def _load_chance(self, name: str, firing: Firing, out: Minutes) -> LoadChance:
        load = self.loads.get(name)
        promised = None if load is None else load.promised
        early, middle, late = (int(value) for value in np.quantile(out, (0.1, 0.5, 0.9), method="higher"))
        kept = None if promised is None else round(float((out <= promised).mean()), 6)
        return LoadChance(name, firing.id, promised, kept, early, middle, late)
