"""What the audit looks at: a studio, its loads, a plan, and what follows from them, worked out afresh."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from scheduler.audit.breach import EARLIEST_MINUTE, LATEST_MINUTE, when
from scheduler.audit.sweep import merged
from scheduler.firing.course import Course, FiringRequest
from scheduler.firing.simulate import simulate
from shared.calendar import OnDuty, PriceStep, QuietSpan, Span, on_duty, price_steps, quiet_spans
from shared.clock import Minute
from shared.kilns import Kiln
from shared.loads import Load, session_minutes
from shared.plans import Firing, Plan
from shared.profiles import Profile, Segment
from shared.studio import CleanOut, Studio
from shared.texts import Text

FARTHEST_MINUTES = 400 * 24 * 60
"""How far from the plan's begin a time of a firing may lie before it counts as nonsense [min]: 400 days, more than
three times the longest horizon (``Rules.horizon_days``)."""

HOLD_TOLERANCE_MINUTES = 1e-4
"""How far a hold may be off [min]: files keep hours to nine digits."""


@dataclass(frozen=True, slots=True)
class Fired:
    """A firing together with the kiln, the profile and the loads that it names.

    Attributes
    ----------
    number
        Its place in the plan's list.
    since
        For a firing that is under way: what lies before this minute has happened and is not judged. None otherwise.
    """

    number: int
    firing: Firing
    kiln: Kiln
    profile: Profile
    loads: tuple[Load, ...]
    since: Minute | None

    @property
    def hot_unload(self) -> bool:
        """Whether the loads are taken out during the last hold."""
        return self.profile.unload == "hot"

    @property
    def row_exists(self) -> bool:
        """Whether the profile has the size row that the firing names."""
        return self.firing.size_row in self.profile.rows

    @property
    def segments(self) -> tuple[Segment, ...]:
        """The profile's segments of the firing's size row; only where ``row_exists``."""
        return self.profile.segments(self.firing.size_row)

    @property
    def session(self) -> int:
        """Length of the hot session, rounded up [min]."""
        return whole(session_minutes(self.kiln, self.loads))

    def judged(self, begin: Minute, end: Minute) -> tuple[Minute, Minute]:
        """The part of ``[begin, end)`` that is judged."""
        return (begin, end) if self.since is None else (max(begin, self.since), end)

    def is_history(self, moment: Minute) -> bool:
        """Whether ``moment`` has happened and is not judged."""
        return self.since is not None and moment < self.since

    @property
    def heating(self) -> tuple[Minute, Minute]:
        """When the elements may draw power, as far as it is judged: ``[start_at, hot_until)``."""
        return self.judged(self.firing.start_at, self.firing.hot_until)

    @property
    def cleaning(self) -> tuple[Minute, Minute]:
        """The clean-out before loading: ``[load_at - clean_out_minutes, load_at)``."""
        return self.firing.clean_out_at, self.firing.load_at

    @property
    def loading(self) -> tuple[Minute, Minute]:
        """The loading: ``[load_at, load_at + load_minutes)``."""
        return self.firing.load_at, self.firing.load_at + whole(self.kiln.load_minutes)

    @property
    def unloading(self) -> tuple[Minute, Minute]:
        """The unloading, or the hot session: ``[unload_at, out_at)``."""
        return self.firing.unload_at, self.firing.out_at


def whole(minutes: float) -> int:
    """Minutes rounded up to whole ones."""
    return math.ceil(minutes)


@dataclass(frozen=True)
class Case:
    """A plan before the audit.

    Attributes
    ----------
    studio, waiting, plan
        The studio, the loads that wait, and the plan for them.
    under_way
        Firings that have begun before the plan, be it with the clean-out of their kiln: what lies before the plan's
        begin is not judged of them.
    replanned
        Whether the plan replaces another, so that it may count a price for changes.
    """

    studio: Studio
    waiting: tuple[Load, ...]
    plan: Plan
    under_way: frozenset[str] = frozenset()
    replanned: bool = False

    @cached_property
    def loads(self) -> dict[str, Load]:
        """The loads that wait, by id."""
        return {load.id: load for load in self.waiting}

    def when(self, minute: Minute) -> datetime | Text:
        """The studio's wall-clock time of a minute."""
        return when(minute, self.studio.place.zone)

    def is_plausible(self, minute: Minute) -> bool:
        """Whether a time could belong to this plan at all."""
        begin = self.plan.begin
        return EARLIEST_MINUTE <= minute <= LATEST_MINUTE and abs(minute - begin) <= FARTHEST_MINUTES

    @cached_property
    def fired(self) -> tuple[Fired, ...]:
        """The firings whose kiln and profile are known and whose times are plausible.

        The others are a breach of ``well_formed`` and cannot be judged further.
        """
        found = []
        for number, firing in enumerate(self.plan.firings):
            kiln = self.studio.kiln_by_id.get(firing.kiln)
            profile = self.studio.profile_by_id.get(firing.profile)
            if kiln is None or profile is None or self.implausible(firing):
                continue
            loads = tuple(self.loads[load] for load in firing.loads if load in self.loads)
            since = self.plan.begin if firing.id in self.under_way else None
            found.append(Fired(number, firing, kiln, profile, loads, since))
        return tuple(found)

    def implausible(self, firing: Firing) -> tuple[str, ...]:
        """The names of a firing's times that could belong to no plan like this."""
        times = {
            name: getattr(firing, name)
            for name in ("load_at", "start_at", "target_at", "hot_until", "safe_at", "unload_at", "free_at", "out_at")
        }
        times["clean_out_minutes"] = firing.clean_out_at
        names = [name for name, minute in times.items() if not self.is_plausible(minute)]
        if any(segment.hold_minutes > FARTHEST_MINUTES for segment in firing.segments):
            names.append("hold")
        return tuple(names)

    @cached_property
    def fired_with(self) -> dict[str, Fired]:
        """The firing of each load; of a load that is in several (a breach of ``each_load_once``) the first."""
        found: dict[str, Fired] = {}
        for fired in self.fired:
            for load in fired.loads:
                found.setdefault(load.id, fired)
        return found

    @cached_property
    def by_kiln(self) -> dict[str, list[Fired]]:
        """The firings of each kiln, in the order of loading."""
        found: dict[str, list[Fired]] = {}
        for fired in sorted(self.fired, key=lambda one: (one.firing.load_at, one.firing.free_at)):
            found.setdefault(fired.kiln.id, []).append(fired)
        return found

    def last_work(self, kiln: Kiln) -> str | None:
        """What a kiln fired last before the plan: as the plan says where it does, else the studio."""
        return self.plan.last_work.get(kiln.id, kiln.last_work)

    @cached_property
    def asked_clean_outs(self) -> dict[int, CleanOut]:
        """The clean-out that the studio asks for before each firing, by the firing's place in the plan's list."""
        found: dict[int, CleanOut] = {}
        for in_kiln in self.by_kiln.values():
            before = self.last_work(in_kiln[0].kiln)
            for fired in in_kiln:
                asked = self.studio.clean_out(before, fired.profile.work)
                if asked is not None:
                    found[fired.number] = asked
                before = fired.profile.work
        return found

    @cached_property
    def span(self) -> Span:
        """From the first to the last moment of any firing."""
        begins = [min(f.firing.clean_out_at, f.firing.start_at, f.firing.unload_at) for f in self.fired]
        ends = [max(f.firing.free_at, f.firing.out_at, f.firing.hot_until) for f in self.fired]
        begin = min(begins, default=0)
        return Span(begin, max(ends, default=begin) + 1)

    @cached_property
    def duties(self) -> list[OnDuty]:
        """Every shift that touches the span of the plan's firings."""
        return on_duty(self.studio, self.span.begin, self.span.end) if self.fired else []

    @cached_property
    def staffed(self) -> list[Span]:
        """When anybody is there."""
        return merged((duty.begin, duty.end) for duty in self.duties)

    @cached_property
    def quiet(self) -> list[QuietSpan]:
        """Every quiet time that touches the span of the plan's firings."""
        return quiet_spans(self.studio, self.span.begin, self.span.end) if self.fired else []

    @cached_property
    def _prices(self) -> list[PriceStep]:
        longest = max((len(c.power_kw) * c.step_minutes for c in self.courses.values()), default=0.0)
        return price_steps(self.studio, self.span.begin, self.span.end + whole(longest) + 1)

    def prices(self, begin: Minute, end: float) -> list[PriceStep]:
        """The price steps that ``[begin, end)`` meets, for a firing that begins within the span."""
        steps = self._prices
        first = max(0, bisect_right(steps, begin, key=lambda step: step.begin) - 1)
        last = first
        while last < len(steps) and steps[last].begin < end:
            last += 1
        return steps[first:last]

    def request(self, fired: Fired) -> FiringRequest | None:
        """What the thermal model is asked for a firing; None where another rule's breach leaves the question open."""
        firing, studio = fired.firing, self.studio
        if not fired.row_exists or not firing.layers or len(fired.loads) != len(firing.loads):
            return None
        segments = fired.segments
        if len(firing.segments) != len(segments):
            return None
        return FiringRequest(
            kiln=fired.kiln,
            work=fired.profile.work,
            segments=segments,
            unload_hot=fired.hot_unload,
            vented=fired.profile.vent and fired.kiln.vented,
            ware_kg=sum(load.mass_kg for load in fired.loads),
            layers=len(firing.layers),
            room_c=studio.place.room_c,
            unload_below_c=studio.unload_below_c(fired.profile),
            load_below_c=studio.rules.load_below_c,
            last_hold_minutes=_last_hold(fired),
        )

    @cached_property
    def courses(self) -> dict[int, Course]:
        """The computed course of each firing, by its place in the plan's list."""
        asked = [(fired.number, self.request(fired)) for fired in self.fired]
        known = [(number, request) for number, request in asked if request is not None]
        courses = simulate([request for _, request in known])
        return dict(zip((number for number, _ in known), courses, strict=True))

    @cached_property
    def repeated_ids(self) -> list[str]:
        """Firing ids that the plan uses more than once."""
        counted = Counter(firing.id for firing in self.plan.firings)
        return [firing_id for firing_id, times in counted.items() if times > 1]


def _last_hold(fired: Fired) -> float | None:
    """The planned last hold [min]; None for the least hold of a firing that cools before it is opened."""
    if fired.hot_unload:
        return float(max(0, fired.firing.hot_until - fired.firing.target_at))
    planned = fired.firing.segments[-1].hold_minutes
    least = fired.segments[-1].hold_minutes
    return None if abs(planned - least) <= HOLD_TOLERANCE_MINUTES else planned
