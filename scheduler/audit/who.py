"""Rules about which loads go together, and into which kiln."""

from __future__ import annotations

from collections.abc import Iterator

from scheduler.audit.breach import Breach
from scheduler.audit.case import Case
from shared.texts import say


def work_fits_kiln(case: Case) -> Iterator[Breach]:
    """The kiln does this kind of work, and each load allows the kiln: ``work in kiln.work``, ``kiln in load.kilns``."""
    for fired in case.fired:
        kiln, work = fired.kiln, fired.profile.work
        if work not in kiln.work:
            text = say("audit.kiln_does_not_2", kiln=kiln.id, works=tuple(kiln.work), work=work)
            yield Breach("work_fits_kiln", fired.firing.id, None, None, text)
        for load in fired.loads:
            if load.kilns and kiln.id not in load.kilns:
                text = say("audit.load_goes_into", kilns=tuple(load.kilns), kiln=kiln.id)
                yield Breach("work_fits_kiln", fired.firing.id, load.id, None, text)


def profile_shared(case: Case) -> Iterator[Breach]:
    """Each load asks for the firing's profile ``p``, or for one that rides in it: ``load.profile in p.shares_with``.

    A guest is unloaded the way its own profile asks: hot or cool as that, no warmer, and by as many people.
    """
    for fired in case.fired:
        profile = fired.profile
        for load in fired.loads:
            if load.profile != profile.id and load.profile not in profile.shares_with:
                text = say("audit.load_asks_profile", own=load.profile, profile=profile.id)
                yield Breach("profile_shared", fired.firing.id, load.id, None, text)
                continue
            own = case.studio.profile_by_id.get(load.profile)
            if own is None or own.id == profile.id:
                continue
            warmer_k = case.studio.unload_below_c(profile) - case.studio.unload_below_c(own)
            if own.unload != profile.unload:
                text = say(
                    "audit.own_profile_unloaded",
                    own=own.id,
                    unload=own.unload,
                    profile=profile.id,
                    theirs=profile.unload,
                )
                yield Breach("profile_shared", fired.firing.id, load.id, None, text)
            elif warmer_k > 1e-9:
                text = say("audit.own_profile_opened", own=own.id, warmer=warmer_k, profile=profile.id)
                yield Breach("profile_shared", fired.firing.id, load.id, None, text, warmer_k)
            elif own.unload_people > profile.unload_people:
                text = say(
                    "audit.own_profile_people",
                    own=own.id,
                    people=own.unload_people,
                    profile=profile.id,
                    theirs=profile.unload_people,
                )
                missing = float(own.unload_people - profile.unload_people)
                yield Breach("profile_shared", fired.firing.id, load.id, None, text, missing)


def shares_firing(case: Case) -> Iterator[Breach]:
    """Loads that share a firing may share it.

    A load that wants to be alone is alone. Where the firing's profile, or one that a load asks for, is for one
    family, all loads are of one family. Sessions booked for different times never share.
    """
    for fired in case.fired:
        loads, firing_id = fired.loads, fired.firing.id
        if len(loads) < 2:
            continue
        for load in loads:
            if load.alone:
                text = say("audit.load_fired_alone", number=len(loads) - 1)
                yield Breach("shares_firing", firing_id, load.id, None, text, float(len(loads) - 1))
        asked = [case.studio.profile_by_id.get(load.profile) for load in loads]
        if fired.profile.one_family or any(profile is not None and profile.one_family for profile in asked):
            # Of a name that was typed in several ways the first stands for all.
            named = {load.family_key: load.family or "(none)" for load in reversed(loads)}
            families = sorted(named.values())
            if len(families) > 1:
                text = say("audit.profile_takes_one", families=tuple(families))
                yield Breach("shares_firing", firing_id, None, None, text, float(len(families) - 1))
        booked = sorted({load.session_at for load in loads if load.session_at is not None})
        if len(booked) > 1:
            text = say("audit.loads_sessions_booked", times=tuple(map(case.when, booked)))
            yield Breach("shares_firing", firing_id, None, booked[0], text, float(booked[-1] - booked[0]))
