"""What one plan changes for the owners of loads against another: the kiln, or the day on which a load is out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from shared.clock import Minute, local_time
from shared.loads import Load
from shared.plans import Firing, Plan


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where a load is fired, and when it is out."""

    kiln: str
    firing: str
    out_at: Minute

    def like(self, other: Whereabouts | None, zone: ZoneInfo) -> bool:
        """Whether another is the same to the load's owner: the same kiln, and out on the same day."""
        if other is None or self.kiln != other.kiln:
            return False
        return local_time(self.out_at, zone).date() == local_time(other.out_at, zone).date()


@dataclass(frozen=True, slots=True)
class Change:
    """What changes for one load. ``before`` or ``after`` None: it had, or has, no place."""

    load: str
    owner: str
    before: Whereabouts | None
    after: Whereabouts | None
    promised: Minute | None

    @property
    def breaks_promise(self) -> bool:
        """Whether the new plan breaks a promise that the old one kept."""
        if self.promised is None:
            return False
        kept = self.before is not None and self.before.out_at <= self.promised
        return kept and (self.after is None or self.after.out_at > self.promised)

    @property
    def is_later_still(self) -> bool:
        """Whether a load that was late in the old plan is later in the new one, or has no place there."""
        if self.promised is None or self.before is None or self.before.out_at <= self.promised:
            return False
        return self.after is None or self.after.out_at > self.before.out_at


def whereabouts(firings: Iterable[Firing]) -> dict[str, Whereabouts]:
    """Where the loads of some firings are, by load."""
    return {load: Whereabouts(f.kiln, f.id, f.out_at) for f in firings for load in f.loads}


def changes_between(loads: Iterable[Load], old: Plan, new: Plan, zone: ZoneInfo, now: Minute = 0) -> list[Change]:
    """What changes for whom among ``loads``, in their order; what is out by ``now`` [min] does not change any more."""
    before, after = whereabouts(old.firings), whereabouts(new.firings)
    found = []
    for load in loads:
        was, will = before.get(load.id), after.get(load.id)
        over = was is not None and was.out_at <= now
        same = will is None if was is None else was.like(will, zone)
        if not over and not same:
            found.append(Change(load.id, load.owner, was, will, load.promised))
    return found
