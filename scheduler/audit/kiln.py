"""Rules about the room in a kiln, and about the kiln being free."""

from __future__ import annotations

from collections.abc import Iterator

from scheduler.audit.breach import Breach
from scheduler.audit.case import Case, Fired, whole
from shared.calendar import kiln_outages
from shared.loads import Load, area_on_last_layer_cm2
from shared.texts import said_by, say

AREA_TOLERANCE_CM2 = 1e-6
"""Rounding of sums of areas [cm²]."""

HEIGHT_TOLERANCE_MM = 1e-6
"""Rounding of sums of heights [mm]."""


def capacity(case: Case) -> Iterator[Breach]:
    """The layers hold the loads: ``sum of areas <= shelf area`` on each, ``sum of layer heights <= kiln height``.

    A layer is as high as its tallest piece plus the gap that the furniture takes. Each load lies on one layer. A load
    larger than a shelf fills whole layers alone, and lies with what is left on one more next to them, which it may
    share.
    """
    for fired in case.fired:
        yield from _on_layers(fired)
        yield from _areas(fired)
        height_mm = used_height_mm(fired)
        excess = height_mm - fired.kiln.height_mm
        if excess > HEIGHT_TOLERANCE_MM:
            text = say("audit.layers_mm_high", height=height_mm, kiln=fired.kiln.id, height2=fired.kiln.height_mm)
            yield Breach("capacity", fired.firing.id, None, None, text, excess)


def used_height_mm(fired: Fired) -> float:
    """Height that the layers take, furniture included [mm]."""
    heights = {load.id: load.height_mm for load in fired.loads}
    return sum(
        max((heights.get(load_id, 0.0) for load_id in layer), default=0.0) + fired.kiln.shelf_gap_mm
        for layer in fired.firing.layers
    )


def share_used(fired: Fired) -> float:
    """Part of the kiln in use [-]: the layers' part of the height times the mean part of a shelf in use."""
    layers = len(fired.firing.layers)
    if not layers:
        return 0.0
    area_cm2 = sum(load.footprint_cm2 for load in fired.loads) / layers
    return used_height_mm(fired) / fired.kiln.height_mm * area_cm2 / fired.kiln.shelf_area_cm2


def _on_layers(fired: Fired) -> Iterator[Breach]:
    firing_id, known = fired.firing.id, set(fired.firing.loads)
    for number, layer in enumerate(fired.firing.layers, start=1):
        if not layer:
            yield Breach("capacity", firing_id, None, None, say("audit.layer_is_empty", number=number))
        for load_id in sorted(set(layer) - known):
            text = say("audit.lies_on_layer", number=number)
            yield Breach("capacity", firing_id, load_id, None, text)
    for load_id in fired.firing.loads:
        times = [layer.count(load_id) for layer in fired.firing.layers]
        if not any(times):
            yield Breach("capacity", firing_id, load_id, None, say("audit.load_lies_on_no"))
        elif max(times) > 1:
            yield Breach("capacity", firing_id, load_id, None, say("audit.load_lies_twice"))


def _areas(fired: Fired) -> Iterator[Breach]:
    firing_id, shelf_cm2 = fired.firing.id, fired.kiln.shelf_area_cm2
    areas = [0.0] * len(fired.firing.layers)
    for load in fired.loads:
        on = [number for number, layer in enumerate(fired.firing.layers) if load.id in layer]
        if not on:
            continue
        try:
            alone, rest_cm2 = area_on_last_layer_cm2(load, shelf_cm2)
        except LookupError as error:
            yield Breach(
                "capacity", firing_id, load.id, None, say("audit.of_kiln", error=said_by(error), kiln=fired.kiln.id)
            )
            continue
        if len(on) != alone + 1 or on[-1] - on[0] != alone:
            wanted = say("audit.one_layer") if alone == 0 else say("audit.layers_next_each", number=alone + 1)
            text = say("audit.load_lies_on", layers=tuple(str(number + 1) for number in on), wanted=wanted)
            yield Breach("capacity", firing_id, load.id, None, text, float(abs(len(on) - alone - 1)))
            continue
        shared = _shared_layer(fired, load, on)
        if shared is None:
            text = say("audit.load_fills_shelf")
            yield Breach("capacity", firing_id, load.id, None, text)
            continue
        for number in on:
            areas[number] += rest_cm2 if number == shared else (load.footprint_cm2 - rest_cm2) / alone
    for number, area_cm2 in enumerate(areas, start=1):
        excess = area_cm2 - shelf_cm2
        if excess > AREA_TOLERANCE_CM2:
            text = say("audit.layer_holds_cm", number=number, area=area_cm2, kiln=fired.kiln.id, shelf=shelf_cm2)
            yield Breach("capacity", firing_id, None, None, text, excess)


def _shared_layer(fired: Fired, load: Load, on: list[int]) -> int | None:
    """The one of a load's layers that it does not fill: where others lie, else the last; None if others lie on more."""
    with_others = [number for number in on if set(fired.firing.layers[number]) - {load.id}]
    if len(with_others) > 1:
        return None
    return with_others[0] if with_others else on[-1]


def kiln_one_at_a_time(case: Case) -> Iterator[Breach]:
    """A kiln is loaded when the firing before is out and cool: ``free_at(before) <= load_at`` for each next firing."""
    for fired_in_kiln in case.by_kiln.values():
        before = fired_in_kiln[0].firing
        for fired in fired_in_kiln[1:]:
            firing = fired.firing
            overlap = before.free_at - firing.load_at
            if overlap > 0:
                text = say("audit.loading_begins_min_before", overlap=overlap, kiln=firing.kiln, before=before.id)
                yield Breach("kiln_one_at_a_time", firing.id, None, firing.load_at, text, float(overlap))
            if firing.free_at > before.free_at:
                before = firing


def clean_out(case: Case) -> Iterator[Breach]:
    """Before a firing its kiln is cleaned out for just as long as the studio asks for after the work before it.

    The clean-out ends at ``load_at``, takes the asked minutes rounded up to the grid, begins no sooner than the kiln is
    free, and lies in no outage of the kiln. One before a firing that was loaded before the plan began has happened.
    Only a plan that replaces another may say otherwise than the studio what a kiln fired last.
    """
    yield from _last_works(case)
    for in_kiln in case.by_kiln.values():
        free_at, before = None, ""
        for fired in in_kiln:
            firing = fired.firing
            if fired.since is None or firing.load_at > fired.since:
                yield from _length(case, fired)
                # Loading that begins too soon itself is told of by kiln_one_at_a_time.
                if free_at is not None and firing.clean_out_at < free_at <= firing.load_at:
                    early = free_at - firing.clean_out_at
                    text = say("audit.clean_out_before_free", early=early, kiln=firing.kiln, before=before)
                    yield Breach("clean_out", firing.id, None, firing.clean_out_at, text, float(early))
                for out in kiln_outages(case.studio, fired.kiln.id, *fired.judged(*fired.cleaning)):
                    text = say("audit.clean_out_in_outage", kiln=fired.kiln.id, end=case.when(out.end))
                    yield Breach("clean_out", firing.id, None, out.begin, text, float(out.end - out.begin))
            if free_at is None or firing.free_at > free_at:
                free_at, before = firing.free_at, firing.id


def _last_works(case: Case) -> Iterator[Breach]:
    for kiln_id, work in case.plan.last_work.items():
        kiln = case.studio.kiln_by_id.get(kiln_id)
        if kiln is None:
            yield Breach("clean_out", None, None, None, say("audit.last_work_no_kiln", kiln=kiln_id))
        elif not case.replanned and work != kiln.last_work:
            text = say("audit.last_work_is_not", kiln=kiln_id, work=work)
            yield Breach("clean_out", None, None, None, text)


def _length(case: Case, fired: Fired) -> Iterator[Breach]:
    firing, grid = fired.firing, case.studio.rules.grid_minutes
    asked = case.asked_clean_outs.get(fired.number)
    needed = 0 if asked is None else -(-whole(asked.minutes) // grid) * grid
    if firing.clean_out_minutes != needed:
        planned = firing.clean_out_minutes
        text = say("audit.clean_out_takes", kiln=firing.kiln, needed=needed, planned=planned)
        by = float(firing.clean_out_minutes - needed)
        yield Breach("clean_out", firing.id, None, firing.clean_out_at, text, by)
