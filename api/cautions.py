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
  common practice for back-up timers.
- hot-session, two-to-cast, cast-together, helpers, unattended, vent: common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from api.day import FiringOnDay
from api.formats import Formats
from api.people import crew_text
from shared.profiles import Profile

ALARM_MARGIN_MINUTES = 30
"""How long after its expected end a kiln that still heats is switched off [min]. Common practice: the margin that a
maker advises for a back-up timer."""

EVERY_FIRING = ("hot-kiln",)
"""What is said of each firing, whether its profile names it or not: there is no kiln that does not get hot."""


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution in plain words; ``key`` is its name in the studio folder, or an automatic one.

    ``this_firing`` tells a text with times of one firing in it from one that always reads the same.
    """

    key: str
    name: str
    text: str
    this_firing: bool = False


def cautions(shown: FiringOnDay, formats: Formats, day: date) -> tuple[Caution, ...]:
    """All cautions of a firing, each once: first those of its profile, in its own order, then what always holds."""
    firing = shown.firing
    off = formats.clock(firing.hot_until, day)
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
    elif shown.seen_off_by:
        found.append(_of_firing("see-it-off", formats, at=off, alarm=formats.clock(alarm_at(shown), day)))
    else:
        found.append(_of_firing("no-one-at-end", formats, at=off))
    return tuple(found)


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


def _always(key: str, formats: Formats) -> Caution:
    return Caution(key, formats.words(f"caution.{key}.name"), formats.words(f"caution.{key}.text"))


def _of_firing(key: str, formats: Formats, **times: str) -> Caution:
    words = formats.words
    return Caution(key, words(f"caution.{key}.name"), words(f"caution.{key}.text", **times), this_firing=True)
