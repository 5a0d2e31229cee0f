"""The computed course of one firing: table and curve for the terminal, or JSON for another program."""

from __future__ import annotations

import json

from api.formats import Formats
from api.printing.columns import heading, paragraph, row
from api.printing.plot import plot
from api.single_firing import SingleFiring
from api.words import Words
from scheduler.firing.bands import firing_band
from shared.profiles import Segment
from shared.studio import Studio
from shared.units import degree_span, degrees

MARKED_HOURS = (1, 2, 3, 4, 6, 8, 12, 24)


def course_text(single: SingleFiring, studio: Studio, words: Words) -> str:
    """Table and curve; for a firing that cannot reach its targets how far it gets."""
    formats = Formats(studio, words)
    unit = studio.controller_unit(single.kiln)
    title = words("fire.title", kiln=single.kiln.title, profile=single.profile.title)
    lines = [heading(title), *paragraph(_charge_text(single, words), indent=2, hanging=2)]
    if single.profile.work not in single.kiln.work:
        text = words("fire.other_work", kiln=single.kiln.id, work=single.profile.work)
        lines += paragraph(text, indent=2, hanging=2)
    course = single.course
    if not course.reached:
        stalled = course.stalled_at_c
        far = words("fire.stalled_somewhere") if stalled is None else formats.temperature(stalled, unit)
        lines += paragraph(words("fire.not_reached", far=far), indent=2, hanging=2)
        return "\n".join(lines) + "\n"
    before_c = studio.place.room_c
    for number, (segment, run) in enumerate(zip(single.request.segments, course.segments, strict=True), start=1):
        rate = _rate_text(segment, before_c, formats, single)
        lines.append(
            words(
                "fire.segment",
                number=number,
                rate=rate.rjust(13),
                target=formats.temperature(segment.to_c, unit).rjust(8),
                reached=formats.duration(run.reached_minutes).rjust(6),
                ends=formats.duration(run.hold_ends_minutes).rjust(6),
            )
        )
        before_c = segment.to_c
    safe = (
        words("firing.safe_hot", temperature=formats.temperature(single.request.segments[-1].to_c, unit))
        if single.request.unload_hot
        else words("firing.open_under", temperature=formats.temperature(single.request.unload_below_c, unit))
    )
    cold = words("fire.cold", temperature=formats.temperature(single.request.load_below_c, unit))
    moments = [
        (course.hot_minutes, words("plan.label_off"), words("firing.off_rest")),
        (course.safe_minutes, words("plan.label_safe"), safe),
        (course.cold_minutes, words("fire.label_cold"), cold),
    ]
    for minutes, label, text in sorted(moments, key=lambda moment: moment[0]):
        lines += row(label, formats.duration(minutes), text)
    lines += row("", "", _band_text(single, formats))
    lines += row(words("plan.label_takes"), f"{course.kwh:.1f} kWh", _mean_text(single, words))
    lines += ["", plot(course.temperature_c.tolist(), course.step_minutes, unit, _marks(single, formats), width=84)]
    lines += ["", *paragraph(words("standing.not_safe"))]
    return "\n".join(lines) + "\n"


def course_json(single: SingleFiring, studio: Studio) -> str:
    """The course as JSON: temperatures in the studio's unit, times in hours after the start."""
    course, unit = single.course, studio.place.temperature
    head = {
        "kiln": single.kiln.id,
        "profile": single.profile.id,
        "size_row": single.row,
        "ware_kg": round(single.request.ware_kg, 3),
        "layers": single.request.layers,
        "temperature_unit": unit,
        "reached": course.reached,
    }
    if not course.reached:
        stalled = course.stalled_at_c
        head["stalled_at"] = None if stalled is None or stalled != stalled else round(degrees(stalled, unit), 1)
        return json.dumps(head, indent=2) + "\n"
    band = firing_band(single.request)
    body = {
        "target_hours": _hours(course.target_minutes),
        "hot_hours": _hours(course.hot_minutes),
        "safe_hours": _hours(course.safe_minutes),
        "cold_hours": _hours(course.cold_minutes),
        "kwh": round(course.kwh, 2),
        "hot_hours_between": [_hours(band.hot.low_minutes), _hours(band.hot.high_minutes)],
        "safe_hours_between": [_hours(band.safe.low_minutes), _hours(band.safe.high_minutes)],
        "may_fail": band.may_fail,
        "segments": [
            {
                "rate": "full"
                if segment.rate_k_per_hour is None
                else round(degree_span(segment.rate_k_per_hour, unit), 3),
                "to": degrees(segment.to_c, unit),
                "hold_hours": _hours(segment.hold_minutes),
                "reached_hours": _hours(run.reached_minutes),
                "hold_ends_hours": _hours(run.hold_ends_minutes),
            }
            for segment, run in zip(single.request.segments, course.segments, strict=True)
        ],
        "course": {
            "step_hours": round(course.step_minutes / 60, 9),
            "temperature": [round(degrees(float(value), unit), 1) for value in course.temperature_c],
            "power_kw": [round(float(value), 3) for value in course.power_kw],
        },
    }
    return json.dumps(head | body, indent=2) + "\n"


def _hours(minutes: float) -> float:
    return round(minutes / 60, 4)


def _charge_text(single: SingleFiring, words: Words) -> str:
    request = single.request
    charge = words("fire.charge", kg=request.ware_kg, layers=words.count("fire.layers", request.layers))
    if not single.mass_given:
        charge += " " + words("fire.mass_assumed")
    if single.row is not None:
        limit = single.profile.sizes[single.row].up_to
        size = words("fire.any_size") if limit is None else f"{limit:g}"
        charge += " " + words("fire.row", column=single.profile.sized_by, size=size)
    return charge


def _rate_text(segment: Segment, before_c: float, formats: Formats, single: SingleFiring) -> str:
    if segment.rate_k_per_hour is None:
        return formats.words("firing.full_up" if segment.to_c >= before_c else "firing.full_down")
    return formats.rate(segment.rate_k_per_hour, formats.studio.controller_unit(single.kiln))


def _band_text(single: SingleFiring, formats: Formats) -> str:
    """How sure the times are."""
    band = firing_band(single.request)
    key = "fire.band_edge" if band.may_fail else "fire.band"
    return formats.words(
        key,
        off=f"{formats.duration(band.hot.low_minutes)}–{formats.duration(band.hot.high_minutes)}",
        safe=f"{formats.duration(band.safe.low_minutes)}–{formats.duration(band.safe.high_minutes)}",
    )


def _mean_text(single: SingleFiring, words: Words) -> str:
    """How hard the elements work while they may draw power."""
    course = single.course
    share = course.kwh * 60.0 / course.hot_minutes / single.kiln.plate_power_kw
    return words("fire.duty", share=share, kw=single.kiln.plate_power_kw)


def _marks(single: SingleFiring, formats: Formats) -> list[tuple[float, str]]:
    minutes = (len(single.course.temperature_c) - 1) * single.course.step_minutes
    step = next((hours for hours in MARKED_HOURS if minutes / 60 / hours <= 10), 48) * 60
    return [(float(minute), formats.duration(minute)) for minute in range(0, int(minutes) + 1, step)]
