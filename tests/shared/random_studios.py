"""Random studios with loads, as a file in the studio's own unit and zone would give them."""

from __future__ import annotations

from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from shared.clock import WEEKDAYS, iso_text
from shared.kilns import Circuit, Kiln
from shared.loads import Load
from shared.profiles import Profile
from shared.record import Record
from shared.studio import Absence, CleanOut, Closed, Outage, Place, Prices, Quiet, Rules, Shift, Studio, Tariff

ZONES = ("Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC")
RecordT = TypeVar("RecordT", bound=Record)

# Line breaks and everything that prints; other control letters are no text.
LETTERS = st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zl", "Zp"], include_characters="\n\t")
LABELS = st.text(LETTERS, min_size=1, max_size=20).filter(lambda text: text.strip() != "")
NOTES = st.text(LETTERS, max_size=30).map(str.strip)
IDS = st.from_regex(r"[A-Za-z0-9#é.][A-Za-z0-9 #é._/-]{0,8}[A-Za-z0-9]", fullmatch=True)
TIMES_OF_DAY = st.integers(0, 1439).map(lambda m: f"{m // 60:02d}:{m % 60:02d}")
DURATIONS = st.one_of(
    st.integers(0, 6000).map(lambda m: f"{m // 60}:{m % 60:02d}"), st.integers(0, 60_000).map(lambda k: k / 1000)
)
DAYS = st.lists(st.sampled_from(WEEKDAYS), min_size=1, max_size=7, unique=True)
MINUTES = st.integers(10_600_000, 120_000_000)


def thousandths(low: float, high: float) -> st.SearchStrategy[float]:
    """Numbers as people write them, with up to three decimals."""
    return st.integers(int(low * 1000), int(high * 1000)).map(lambda k: k / 1000)


def sometimes(**optional: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    """Any part of some keys."""
    return st.fixed_dictionaries({}, optional=optional)


@st.composite
def studios(draw: st.DrawFn) -> tuple[Studio, tuple[Load, ...]]:
    """A studio and its loads, sound by themselves and with each other."""
    unit, zone = draw(st.sampled_from("CF")), ZoneInfo(draw(st.sampled_from(ZONES)))
    context = {"temperature": unit, "zone": zone}
    temperatures = thousandths(70, 2000)

    def made(model: type[RecordT], **said: Any) -> RecordT:
        return model.model_validate(said, by_alias=True, by_name=False, context=context)

    def moment() -> st.SearchStrategy[str]:
        return MINUTES.map(lambda minute: iso_text(minute, zone))

    def window() -> dict[str, Any]:
        return {"days": draw(DAYS), "from": draw(TIMES_OF_DAY), "to": draw(TIMES_OF_DAY)}

    works = draw(st.lists(LABELS.map(str.strip), min_size=1, max_size=3, unique=True))
    circuit_ids = draw(st.lists(IDS, min_size=1, max_size=3, unique=True))
    circuits = [
        made(
            Circuit,
            **({"fed_from": circuit_ids[number - 1]} if number else {}),
            id=name,
            breaker_amps=draw(thousandths(1, 900)),
            legs=3,
            **draw(sometimes(continuous_share=thousandths(0.1, 1))),
        )
        for number, name in enumerate(circuit_ids)
    ]
    kiln_ids = draw(st.lists(IDS, min_size=1, max_size=3, unique=True))
    kilns = [
        made(
            Kiln,
            id=name,
            work=works,
            circuit=draw(st.sampled_from(circuit_ids)),
            volts=draw(thousandths(100, 500)),
            amps=draw(thousandths(1, 60)),
            kilowatts=draw(thousandths(0.5, 40)),
            brick=draw(BRICKS),
            inside_mm=draw(st.lists(thousandths(100, 900), min_size=2, max_size=3)),
            wall_mm=115,
            max_temperature=draw(temperatures),
            load_minutes=draw(thousandths(0, 90)),
            unload_minutes=30,
            **draw(
                sometimes(
                    name=LABELS,
                    furniture_kg=thousandths(0, 90),
                    supply_volts=thousandths(100, 500),
                    legs=st.sampled_from([["A"], ["B", "C"], ["C", "A", "B"]]),
                    vented=st.booleans(),
                    unattended=st.booleans(),
                    attend_end=st.booleans(),
                    controller=st.sampled_from("CF"),
                    fitted=sometimes(
                        power=thousandths(0.3, 2), loss_error=thousandths(0, 0.9), firings=st.integers(0, 9)
                    ),
                )
            ),
        )
        for name in kiln_ids
    ]
    profile_ids = draw(st.lists(IDS, min_size=1, max_size=3, unique=True))
    segment = st.fixed_dictionaries(
        {"rate": st.one_of(st.just("full"), thousandths(1, 500)), "to": temperatures}, optional={"hold": DURATIONS}
    )
    segments = st.lists(segment, min_size=1, max_size=4)
    profiles = []
    for name in profile_ids:
        others = [other for other in profile_ids if other != name]
        said = {"id": name, "work": draw(st.sampled_from(works)), "unload": "hot"}
        if draw(st.booleans()):
            last = {"segments": draw(segments)}
            said |= {"sized_by": "height_mm", "sizes": [{"up_to": 30.5, "segments": draw(segments)}, last]}
        else:
            said |= {"segments": draw(segments)}
        said |= draw(
            sometimes(
                name=LABELS,
                session=LABELS,
                session_people=st.integers(1, 100),
                vent=st.booleans(),
                one_family=st.booleans(),
                cautions=st.lists(LABELS, max_size=2),
                shares_with=st.lists(st.sampled_from(others), max_size=2, unique=True) if others else st.just([]),
            )
        )
        profiles.append(made(Profile, **said))
    load_ids = draw(st.lists(IDS, max_size=4, unique=True))
    loads = []
    for number, name in enumerate(load_ids):
        said = {"id": name, "profile": draw(st.sampled_from(profile_ids)), "mass_kg": draw(thousandths(0.001, 90))}
        said |= {"footprint_cm2": draw(thousandths(1, 9000)), "height_mm": draw(thousandths(1, 900))}
        said |= draw(
            sometimes(
                owner=NOTES,
                stream=st.sampled_from(["student", "production"]),
                pieces=st.integers(1, 99),
                thickness_mm=thousandths(1, 90),
                family=NOTES,
                max_temperature=temperatures,
                ready=moment(),
                promised=moment(),
                priority=st.integers(1, 9),
                alone=st.booleans(),
                session_at=moment(),
                note=NOTES,
                kilns=st.lists(st.sampled_from(kiln_ids), min_size=1, max_size=2, unique=True),
                gap_hours=DURATIONS,
                session_hours=DURATIONS,
                after=st.sampled_from(load_ids[:number] or [None]),
            )
        )
        # An empty cell says nothing, so that a file cannot give an empty text.
        loads.append(made(Load, **{key: value for key, value in said.items() if value is not None and value != ""}))
    place = draw(sometimes(room=thousandths(0, 90), currency=st.sampled_from(["GBP", "€"])))
    begins = draw(MINUTES)
    outage = {"circuit": circuit_ids[0], "from": iso_text(begins, zone)} | draw(sometimes(reason=LABELS))
    if draw(st.booleans()):
        outage["to"] = iso_text(begins + draw(st.integers(1, 99_999)), zone)
    studio = Studio(
        place=made(Place, name=draw(LABELS), timezone=str(zone), temperature=unit, **place),
        shifts=tuple(made(Shift, **window(), **draw(sometimes(hands=st.integers(1, 9), who=LABELS))) for _ in range(2)),
        closed=(made(Closed, **{"from": "2026-12-24", "to": "2027-01-01"}),) if draw(st.booleans()) else (),
        absences=(made(Absence, on="2026-12-03", **{"from": "09:00"}, hands=1),) if draw(st.booleans()) else (),
        circuits=tuple(circuits),
        kilns=tuple(kilns),
        outages=(made(Outage, **outage),),
        tariff=made(Tariff, **draw(sometimes(default=thousandths(0, 2))), bands=[{**window(), "price": 0.125}]),
        rules=made(Rules, **draw(sometimes(load_below=temperatures, grid_minutes=st.sampled_from([1, 5, 15])))),
        quiet=(made(Quiet, **window(), **draw(sometimes(work=st.just(works)))),),
        clean_outs=tuple(
            made(
                CleanOut,
                after=draw(st.lists(st.sampled_from(works), min_size=1, max_size=2)),
                before=[works[-1]],
                minutes=draw(thousandths(0.001, 1440)),
                **draw(sometimes(price=thousandths(0, 9))),
            )
            for _ in range(draw(st.integers(0, 2)))
        ),
        prices=made(
            Prices, **draw(sometimes(late_hour=thousandths(0, 9), late_load=thousandths(0, 9), moved=thousandths(0, 9)))
        ),
        profiles=tuple(profiles),
    )
    return studio, tuple(loads)


BRICKS = st.sampled_from([20, 23, 26, 28, 30, "fibre"])
