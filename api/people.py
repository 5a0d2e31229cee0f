"""Who is there, in words: by name where the shift gives one, else by the shift's hours."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from api.formats import Formats
from shared.calendar import OnDuty
from shared.profiles import Profile


def people_text(duties: Sequence[OnDuty], formats: Formats, day: date, people: int = 1) -> str:
    """The people who can do a task: the shifts on duty at its beginning; and how many it takes, where more than one."""
    words = formats.words
    if not duties:
        return words("people.none")
    texts = []
    for duty in duties:
        hours = formats.stretch(duty.begin, duty.end, day)
        who = duty.shift.who
        texts.append(words("people.named", who=who, hours=hours) if who else words("people.anyone", hours=hours))
    return _together(formats.join(texts), formats, people)


def _together(who: str, formats: Formats, people: int) -> str:
    return who if people == 1 else formats.words("people.together", who=who, n=people)


def crew_text(profile: Profile, formats: Formats) -> str:
    """How many people a session takes, and that one of them has its skill."""
    words, people = formats.words, profile.unload_people
    if profile.skill is None:
        return words("people.hands", n=people)
    return words("people.one_skilled", n=people, skill=profile.skill)


def names_text(duties: Sequence[OnDuty], formats: Formats, people: int = 1) -> str:
    """The same in short, without hours."""
    words = formats.words
    names = [duty.shift.who or words("people.anyone_there") for duty in duties]
    if not names:
        return words("people.none")
    return _together(formats.join(list(dict.fromkeys(names))), formats, people)


def duty_text(duties: Sequence[OnDuty], formats: Formats, day: date) -> tuple[str, ...]:
    """The day's shifts, one text each: hours, who or how many, and what they may attend."""
    words = formats.words
    texts = []
    for duty in duties:
        shift = duty.shift
        who = shift.who or (words("people.one_hand") if shift.hands == 1 else words("people.hands", n=shift.hands))
        if shift.skills:
            who = words("people.skills", who=who, skills=formats.join(shift.skills))
        texts.append(words("people.duty", hours=formats.stretch(duty.begin, duty.end, day), who=who))
    return tuple(texts) or (words("people.nobody_today"),)
