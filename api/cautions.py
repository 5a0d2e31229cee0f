"""Cautions for a firing: those that its profile names, and those that follow from how it is planned.

The texts stand in the catalogue under ``caution``. Where they come from, by key:

- hot-kiln: HSE, *Kilns in schools*; *Guidance for Safe Use of Kilns in Occupational Therapy Units* (H&S 0044, 2000).
- fumes: US EPA Region 7, *Ceramic Kilns*; NIOSH criteria document on carbon monoxide, 1972.
- burnout-smoke, hot-flask, carbon-box, sharp-glass: common practice of casters, metal clay and glass workers.
- silica-dust: HSE ceramics silica sheets CR0 to CR4; US rule 29 CFR 1910.1053.
- glare: Pottery Making Illustrated, *Eye Health for Potters*.
- enamel-dust: MJSA Journal, *Three Enameling Safety Tips*.
- clean-out: US EPA Region 7, *Ceramic Kilns*, and HSE, *Ceramics: silica* (damp wiping or a vacuum for fine dust, no
  dry brushing or blowing); disconnecting and cooling first, and the maker's manual before all, are common practice.
- thick-ware, lead: studios' and suppliers' published firing rules.
- see-it-off, no-one-at-end: HSE, *Kilns in schools* (most past kiln fires began at night); the half hour's margin is
  common practice for back-up timers. That an automatic shut-off is never trusted alone, and that a kiln may have a
  limit timer or a cut-out of its own to set: kiln makers' shut-off cautions and manuals.
- heats-attended: common practice; that a kiln switched off stays hot for hours is computed for each firing.
- hot-session, two-to-cast, cast-together, helpers, unattended, vent: common practice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from api.attendance import Attendance, attendance
from api.day import FiringOnDay
from api.formats import Formats
from api.people import crew_text, names_text
from shared.profiles import Profile

ALARM_MARGIN_MINUTES = 30
"""How long after its expected end a kiln that still heats is switched off [min]. Common practice: the margin that a
maker advises for a back-up timer."""

EVERY_FIRING = ("hot-kiln",)
"""What is said of each firing, whether its profile names it or not: there is no kiln that does not get hot."""

SHARPEST = (
    "cast-together",
    "two-to-cast",
    "hot-flask",
    "hot-session",
    "burnout-smoke",
    "carbon-box",
    "fumes",
    "thick-ware",
    "sharp-glass",
    "heats-attended",
    "enamel-dust",
)
"""What burns, poisons or cuts somebody at once, the sharpest first. Our own order."""

MILDER = (
    "helpers",
    "hot-kiln",
    "no-one-at-end",
    "see-it-off",
    "unattended",
    "vent",
    "clean-out",
    "glare",
    "silica-dust",
    "lead",
)
"""What follows, in order; what a studio wrote in its own words stands before it."""

MOST_SHARP = 3
"""How many cautions are told in large letters; more of them, and none would be read."""


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution in plain words; ``key`` is its name in the studio folder, or an automatic one.

    ``this_firing`` tells a text with times of one firing in it from one that always reads the same; ``sharp`` ones are
    told in large letters.
    """

    key: str
    name: str
    text: str
    this_firing: bool = False
    sharp: bool = False


def cautions(shown: FiringOnDay, formats: Formats, day: date) -> tuple[Caution, ...]:
    """All cautions of a firing, each once, the sharpest first."""
    found = sorted(_cautions(shown, formats, day), key=lambda caution: _rank(caution.key))
    sharp = [caution.key for caution in found if caution.key in SHARPEST][:MOST_SHARP]
    return tuple(replace(caution, sharp=caution.key in sharp) for caution in found)


def _rank(key: str) -> int:
    """Where a caution stands among others."""
    if key in SHARPEST:
        return SHARPEST.index(key) - len(SHARPEST)
    return MILDER.index(key) + 1 if key in MILDER else 0


def _cautions(shown: FiringOnDay, formats: Formats, day: date) -> list[Caution]:
    """Those of its profile, in its own order, then what follows from how it is planned."""
    firing = shown.firing
    # What is said of a plan that sets aside only one does not hold of one that sets aside more.
    told = {"two-to-cast"} if shown.profile.unload_people > 1 else set()
    named = dict.fromkeys([*shown.profile.cautions, *EVERY_FIRING])
    found = [named_caution(key, formats) for key in named if key not in told]
    if firing.clean_out_minutes and formats.local(firing.load_at).date() >= day:
        at = formats.stretch(firing.clean_out_at, firing.load_at, day)
        found.append(_of_firing("clean-out", formats, at=at))
    if shown.profile.vent:
        found.append(_always("vent", formats))
    if shown.heats_alone:
        stretches = formats.join([formats.stretch(span.begin, span.end, day) for span in shown.heats_alone])
        found.append(_of_firing("unattended", formats, stretches=stretches))
    if shown.hot:
        found.append(_always("hot-session", formats))
        poured = pours(shown.profile)
        if shown.profile.unload_people > 1:
            at = formats.stretch(firing.unload_at, firing.out_at, day)
            key = "cast-together" if poured else "helpers"
            found.append(_of_firing(key, formats, people=crew_text(shown.profile, formats), at=at))
        elif poured and "two-to-cast" not in shown.profile.cautions:
            found.append(_always("two-to-cast", formats))
    else:
        found.append(_end(shown, formats, day))
    if not shown.kiln.unattended:
        found.append(_attended(shown, formats, day))
    return found


def _end(shown: FiringOnDay, formats: Formats, day: date) -> Caution:
    """Who sees that it has switched off; where nobody can be told to look at a time, what is done before and after."""
    end, alarm = shown.firing.hot_until, alarm_at(shown)
    at = attendance(shown.studio, end)
    times = {"at": formats.clock(end, day), "alarm": formats.clock(alarm, day), **_leaving(at, formats, day)}
    if not shown.seen_off_by:
        return _of_firing("no-one-at-end", formats, **times)
    who = names_text(shown.seen_off_by, formats)
    if at.leaves_at is not None and alarm <= at.leaves_at:
        return _of_firing("see-it-off", formats, who=who, **times)
    needs = "attended" if shown.kiln.attend_end or not shown.kiln.unattended else "leaving"
    return _of_firing("see-it-off", formats, needs, who=who, **times)


def _leaving(at: Attendance, formats: Formats, day: date) -> dict[str, str]:
    """When the last one leaves and the first one comes, in words."""
    words = formats.words
    never = words("people.none")
    leaves = never if at.leaves_at is None else formats.clock(at.leaves_at, day)
    if at.comes_at is None:
        return {"leaves": leaves, "first": never}
    who = names_text(at.first, formats)
    return {"leaves": leaves, "first": words("people.first", who=who, at=formats.clock(at.comes_at, day))}


def _attended(shown: FiringOnDay, formats: Formats, day: date) -> Caution:
    """A kiln that heats only with somebody there: off when they leave, and how hot it still is then."""
    leaves_at = attendance(shown.studio, shown.firing.hot_until).leaves_at
    if leaves_at is None or leaves_at < shown.firing.hot_until:
        return _of_firing("heats-attended", formats)
    left_c = shown.temperature_at(leaves_at)
    if left_c < formats.studio.rules.load_below_c:
        return _of_firing("heats-attended", formats)
    hot = formats.temperature(left_c, shown.unit)
    return _of_firing("heats-attended", formats, "still_hot", leaves=formats.clock(leaves_at, day), temperature=hot)


def pours(profile: Profile) -> bool:
    """Whether hot metal may be poured in a profile's session: every session may, but one that is plainly enamelling.

    A studio words its work and sessions as it likes, so enamel is what is recognised: an unknown session warns.
    """
    enamel = profile.work == "enamel" or "enamel-dust" in profile.cautions
    return "hot-flask" in profile.cautions or not enamel


def named_caution(key: str, formats: Formats) -> Caution:
    """The caution that a profile names; a key that the catalogue does not know is printed as written."""
    if f"caution.{key}.text" in formats.words:
        return _always(key, formats)
    return Caution(key, key, key)


def alarm_at(shown: FiringOnDay) -> int:
    """When a kiln that still heats is switched off [min]: half an hour after the latest likely end."""
    likely = shown.hot_until_between
    return (likely[1] if likely else shown.firing.hot_until) + ALARM_MARGIN_MINUTES


def looked_at(shown: FiringOnDay) -> int:
    """When somebody can see that it still heats and switch it off [min]: at the alarm, or whoever comes first after."""
    alarm = alarm_at(shown)
    found = attendance(shown.studio, alarm)
    return alarm if found.there or found.comes_at is None else found.comes_at


def still_heating(shown: FiringOnDay, formats: Formats, day: date) -> str:
    """What is done with a kiln that should be off and heats, by somebody who is there to do it."""
    alarm = alarm_at(shown)
    found = attendance(shown.studio, alarm)
    if found.there:
        return formats.words("late.heating", alarm=formats.clock(alarm, day))
    return formats.words("late.heating_unseen", first=_leaving(found, formats, day)["first"])


def _always(key: str, formats: Formats) -> Caution:
    return Caution(key, formats.words(f"caution.{key}.name"), formats.words(f"caution.{key}.text"))


def _of_firing(key: str, formats: Formats, variant: str = "text", **times: str) -> Caution:
    words = formats.words
    return Caution(key, words(f"caution.{key}.name"), words(f"caution.{key}.{variant}", **times), this_firing=True)
