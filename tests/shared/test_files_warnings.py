"""Warnings about a folder without faults."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from shared.clock import minute_of
from shared.errors import Fault
from shared.families import known_families, near_family
from shared.files import folder_warnings, read_folder
from shared.files.doubts import plate_kilowatts
from tests.shared.quayside import LOADS, PROFILES, STUDIO, exchanged, write_quayside

BEFORE = minute_of(datetime(2026, 11, 29, 12, 0, tzinfo=UTC))
LATER = minute_of(datetime(2026, 12, 5, 12, 0, tzinfo=UTC))


def warnings_of(folder: Path, now: int | None = BEFORE) -> list[Fault]:
    """The warnings about a folder."""
    return folder_warnings(*read_folder(folder), now=now)


def test_the_example_is_warned_of_in_nothing(tmp_path: Path) -> None:
    assert warnings_of(write_quayside(tmp_path)) == []


STUDIO_DOUBTS = [
    ("kilowatts = 16.6", "kilowatts = 9.6", "kiln K1 › kilowatts", "16.6 kW or 28.8 kW"),
    ("kilowatts = 3\n", "kilowatts = 4\n", "kiln K3 › kilowatts", "on 1 leg, which make 3.0 kW"),
    ("breaker_amps = 50", "breaker_amps = 29", "kiln K1 › amps", '"back-room" may carry, 23.2 A (29 × 0.8)'),
    ("breaker_amps = 125", "breaker_amps = 20", "kiln K1 › amps", 'circuit "main"'),
    ("max_temperature = 1000", "max_temperature = 700", "profile burnout › size 1", "goes to 720 °C"),
]


@pytest.mark.parametrize(("old", "new", "place", "words"), STUDIO_DOUBTS)
def test_a_doubt_about_the_studio_is_told_at_its_place(
    tmp_path: Path, old: str, new: str, place: str, words: str
) -> None:
    found = warnings_of(write_quayside(tmp_path, studio=exchanged(STUDIO, (old, new))))
    assert place in [warning.place for warning in found]
    assert any(words in warning.problem for warning in found if warning.place == place)


ASKED = "nobody is there from 2026-12-24 to 2027-01-01, both included, but K1, K3 may heat then, on their timers"


def test_closed_days_on_which_kilns_may_heat_are_asked_about_once_they_are_near(tmp_path: Path) -> None:
    folder = write_quayside(tmp_path)
    for day, asked in ((13, []), (15, [ASKED]), (31, [ASKED])):
        found = warnings_of(folder, minute_of(datetime(2026, 12, day, 12, 0, tzinfo=UTC)))
        assert [str(one.problem) for one in found if one.place == "[[closed]] 1"] == asked, day
    over = warnings_of(folder, minute_of(datetime(2027, 1, 3, 12, 0, tzinfo=UTC)))
    assert "[[closed]] 1" not in [one.place for one in over]


def test_closed_days_are_not_asked_about_where_the_supply_is_out(tmp_path: Path) -> None:
    out = '[[outages]]\ncircuit = "main"\nfrom = 2026-12-24\nto = 2027-01-02\n\n[tariff]'
    found = warnings_of(
        write_quayside(tmp_path, studio=exchanged(STUDIO, ("[tariff]", out))),
        minute_of(datetime(2026, 12, 20, 12, 0, tzinfo=UTC)),
    )
    assert "[[closed]] 1" not in [one.place for one in found]


# Worked by hand from U·I, √3·U·I and 3·U·I (three-phase power, IEC 60050-131).
@pytest.mark.parametrize(
    ("volts", "amps", "legs", "kilowatts"),
    [
        (230, 13, '["A"]', 2.99),
        (240, 40, '["A", "B"]', 9.6),
        (400, 24, '["A", "B", "C"]', 16.63),
        (230, 24, '["A", "B", "C"]', 16.56),
    ],
)
def test_the_plate_of_every_usual_supply_goes_with_its_kilowatts(
    tmp_path: Path, volts: int, amps: int, legs: str, kilowatts: float
) -> None:
    text = exchanged(STUDIO, ("volts = 400\namps = 24", f"volts = {volts}\namps = {amps}"))
    for share, doubted in ((1.0, False), (1.1, False), (0.9, False), (1.2, True), (0.8, True)):
        plate = exchanged(text, ("kilowatts = 16.6", f"kilowatts = {kilowatts * share}"))
        if amps == 40:
            plate = exchanged(plate, ("breaker_amps = 50", "breaker_amps = 60"))
        folder = write_quayside(tmp_path, studio=exchanged(plate, ('legs = ["A", "B", "C"]', f"legs = {legs}")))
        found = [warning.place for warning in warnings_of(folder)]
        assert found == (["kiln K1 › kilowatts"] if doubted else []), share
    kiln = read_folder(folder)[0].kilns[0]
    assert min(plate_kilowatts(kiln, legs.count('"') // 2), key=lambda kw: abs(kw - kilowatts)) == pytest.approx(
        kilowatts, rel=0.002
    )


def test_a_studio_where_nobody_ever_is_can_load_nothing(tmp_path: Path) -> None:
    head, _, tail = STUDIO.partition("[[shifts]]")
    studio = head + tail[tail.index("[[closed]]") :]
    (warning,) = warnings_of(write_quayside(tmp_path, studio=studio))
    assert (warning.place, "nothing can be loaded" in warning.problem) == ("shifts", True)


PROFILE_DOUBTS = [
    (',\n    hold_up_to = "6:00" }', " }", "profile burnout", "no hold_up_to"),
    ("unload_below = 90", "unload_below = 90\nvent = true", "profile bisque-04 › vent", "no kiln for its work is"),
    ("to = 1060", "to = 1300", "profile bisque-04", "goes to 1300 °C, its kilns only to 1290 °C"),
]


@pytest.mark.parametrize(("old", "new", "place", "words"), PROFILE_DOUBTS)
def test_a_doubt_about_a_profile_is_told_at_its_place(
    tmp_path: Path, old: str, new: str, place: str, words: str
) -> None:
    found = warnings_of(write_quayside(tmp_path, profiles=exchanged(PROFILES, (old, new))))
    assert any(warning.place == place and words in warning.problem for warning in found), found


@pytest.mark.parametrize(("people", "warned"), [(1, False), (2, False), (3, True)])
def test_a_session_for_more_people_than_ever_are_there_is_warned_of(tmp_path: Path, people: int, warned: bool) -> None:
    profiles = exchanged(PROFILES, ("vent = true", f"vent = true\nsession_people = {people}"))
    found = warnings_of(write_quayside(tmp_path, profiles=profiles))
    assert [(warning.place, warning.remedy) for warning in found] == (
        [("profile burnout › session_people", "give the shifts more hands, or write session_people = 2")]
        if warned
        else []
    )


@pytest.mark.parametrize(
    ("days", "begins", "ends", "warned"),
    [
        ("mon", "13:00", "21:00", False),  # beside the casters of Monday afternoon
        ("mon", "17:30", "21:00", True),  # after they have gone
        ("sat", "09:00", "17:30", True),
        ("sun", "22:00", "09:30", False),  # over the night of the week's end, half an hour beside them
        ("sun", "22:00", "09:00", True),
    ],
)
def test_a_helper_counts_only_beside_somebody_who_may_attend_the_session(
    tmp_path: Path, days: str, begins: str, ends: str, warned: bool
) -> None:
    helper = f'[[shifts]]\ndays = ["{days}"]\nfrom = "{begins}"\nto = "{ends}"\nhands = 3\n\n[[closed]]'
    studio = exchanged(STUDIO, ("[[closed]]", helper))
    profiles = exchanged(PROFILES, ("vent = true", "vent = true\nsession_people = 4"))
    found = warnings_of(write_quayside(tmp_path, studio=studio, profiles=profiles))
    assert [warning.place for warning in found] == (["profile burnout › session_people"] if warned else [])


LOAD_DOUBTS = [
    ("2026-12-04T17:00", "2026-11-30T08:00", "load L1, column promised", "is not after ready"),
    ("K1,no,,", "K1,no,,5", "load L1, column gap_hours", "without after"),
    (
        "K1,no",
        "K3,no",
        "load L1, column kilns",
        "none of the kilns that it is tied to takes this load (K3: does no bisq",
    ),
    ("10,2000,100", "10,2000,690", "load L1, column profile", "the piece with its shelf 705 mm"),
    ("10,2000,100", "1,3200,100", "load L1, column profile", "too small a shelf for one piece"),
    ("10,2000,100", "100,60000,100", "load L1, column profile", "needs 20 layers"),
    # One piece a layer of 100 + 15 mm: six make 690 mm of 700, a seventh is too many.
    ("10,2000,100", "7,21000,100", "load L1, column profile", "needs 7 layers of 115 mm in 700 mm"),
]


@pytest.mark.parametrize(("old", "new", "place", "words"), LOAD_DOUBTS)
def test_a_doubt_about_a_load_is_told_at_its_column(tmp_path: Path, old: str, new: str, place: str, words: str) -> None:
    (warning,) = warnings_of(write_quayside(tmp_path, loads=exchanged(LOADS, (old, new))))
    assert (warning.file, warning.place) == ("loads.csv", place)
    assert words in warning.problem


@pytest.mark.parametrize(("limit", "warned"), [(1059, True), (1060, False), ("", False)])
def test_a_material_that_does_not_stand_its_profile_is_warned_of_and_no_fault(
    tmp_path: Path, limit: object, warned: bool
) -> None:
    loads = f"id,profile,footprint_cm2,height_mm,mass_kg,max_temperature\nL1,bisque-04,100,80,2,{limit}\n"
    found = [warning.place for warning in warnings_of(write_quayside(tmp_path, loads=loads))]
    assert found == (["load L1, column max_temperature"] if warned else [])


def test_a_load_that_just_fits_is_not_warned_of(tmp_path: Path) -> None:
    assert warnings_of(write_quayside(tmp_path, loads=exchanged(LOADS, ("10,2000,100", "6,18000,100")))) == []


@pytest.mark.parametrize(
    ("opened", "warned"),
    [("unload_below = 90", False), ("unload_below = 91", True), ('unload = "hot"\nskill = "casting"', True)],
)
def test_a_load_may_be_a_guest_in_a_cooler_firing_that_is_unloaded_as_its_own(
    tmp_path: Path, opened: str, warned: bool
) -> None:
    host = '[[profiles]]\nid = "soft"\nwork = "bisque"\nshares_with = ["bisque-04"]\n'
    host += opened + '\nsegments = [{ rate = 60, to = 900, hold = "0:10", hold_up_to = "3:00" }]\n'
    loads = "id,profile,footprint_cm2,height_mm,mass_kg,max_temperature\nL1,bisque-04,100,80,2,950\n"
    found = warnings_of(write_quayside(tmp_path, profiles=f"{PROFILES}\n{host}", loads=loads))
    assert [warning.place for warning in found] == (["load L1, column max_temperature"] if warned else [])


def test_what_has_passed_is_told_only_where_the_present_is_known(tmp_path: Path) -> None:
    loads = exchanged(LOADS, (",gap_hours\n", ",session_at\n"), ("yes,,\n", "yes,,2026-12-01T14:00\n"), ("1:30", ""))
    folder = write_quayside(tmp_path, loads=loads)
    assert warnings_of(folder, None) == []
    assert warnings_of(folder, BEFORE) == []
    assert [(warning.place, "has passed" in warning.problem) for warning in warnings_of(folder, LATER)] == [
        ("load L1, column promised", True),
        ("load L2, column session_at", True),
    ]


def load_line(mass_kg: float, footprint_cm2: float, height_mm: float) -> str:
    """A folder's loads: one of some mass and size, for the kiln of 560 × 560 × 700 mm."""
    return f"id,profile,footprint_cm2,height_mm,mass_kg\nL1,bisque-04,{footprint_cm2},{height_mm},{mass_kg}\n"


# 1000 cm² by 100 mm are 10 l: 25 kg of solid glass, 2500 kg/m³ by EN 572-1 (from memory), 24 of solid stoneware.
@pytest.mark.parametrize(("mass_kg", "warned"), [(24, False), (25, False), (27.4, False), (27.6, True), (400, True)])
def test_a_load_heavier_than_solid_glass_of_its_size_is_warned_of(tmp_path: Path, mass_kg: float, warned: bool) -> None:
    found = warnings_of(write_quayside(tmp_path, loads=load_line(mass_kg, 1000, 100)))
    assert [warning.place for warning in found] == (["load L1, column mass_kg"] if warned else [])
    if warned:
        assert f"{mass_kg / 10:.1f} kg per litre; solid glass is 2.5" in found[0].problem
        assert "check mass_kg, footprint_cm2 and height_mm" in found[0].remedy


# 56 × 56 × 70 cm are 219.5 l; the load itself is 188 l, so that 400 kg are less than solid.
@pytest.mark.parametrize(("mass_kg", "warned"), [(219, False), (220, True), (400, True)])
def test_a_load_too_heavy_for_the_largest_kiln_that_takes_it_is_warned_of(
    tmp_path: Path, mass_kg: float, warned: bool
) -> None:
    found = warnings_of(write_quayside(tmp_path, loads=load_line(mass_kg, 3000, 627)))
    assert [warning.place for warning in found] == (["load L1, column mass_kg"] if warned else [])
    if warned:
        assert 'kg per litre of kiln "K1" (220 l)' in found[0].problem
        assert "up to 220 kg" in found[0].remedy


def test_the_sample_studios_masses_are_not_doubted() -> None:
    found = folder_warnings(*read_folder(Path(__file__).parent.parent.parent / "sample_studio"))
    assert [warning.place for warning in found] == ["load G20, column max_temperature"]


def test_times_in_warnings_are_written_for_people(tmp_path: Path) -> None:
    loads = exchanged(LOADS, ("2026-12-04T17:00", "2026-11-30T08:00"))
    (warning,) = warnings_of(write_quayside(tmp_path, loads=loads))
    assert warning.problem == "Mon 30 Nov 2026 08:00 is not after ready, Mon 30 Nov 2026 09:00"


def test_a_promise_given_as_a_date_is_told_as_the_time_it_was_taken_for(tmp_path: Path) -> None:
    folder = write_quayside(tmp_path, loads=exchanged(LOADS, ("2026-12-04T17:00", "2026-12-04")))
    (warning,) = warnings_of(folder)
    assert (warning.file, warning.place) == ("loads.csv", "column promised")
    assert warning.problem.endswith("the day's first minute, not its end: L1 Fri 4 Dec 2026 00:00")
    assert warning.remedy == "write the hour that is meant, as 2026-12-04T17:00"


def test_many_promises_given_as_dates_are_told_in_one_warning(tmp_path: Path) -> None:
    rows = "".join(f"L{n},bisque-04,100,80,2,2026-12-01,2026-12-{n + 2:02}\n" for n in range(1, 10))
    loads = f"id,profile,footprint_cm2,height_mm,mass_kg,ready,promised\n{rows}"
    (warning,) = warnings_of(write_quayside(tmp_path, loads=loads))
    assert "L1 Thu 3 Dec 2026 00:00, L2 Fri 4 Dec 2026 00:00" in warning.problem
    assert warning.problem.endswith("L6 Tue 8 Dec 2026 00:00, and 3 more")


def test_a_load_tied_to_a_kiln_without_a_vent_is_told_which_others_would_take_it(tmp_path: Path) -> None:
    """Two kilns for bisque, of which only the first, K1, is vented."""
    other = STUDIO[STUDIO.index('[[kilns]]\nid = "K1"') : STUDIO.index('[[kilns]]\nid = "K3"')].replace('"K1"', '"K9"')
    studio = exchanged(STUDIO, ("unload_minutes = 30\n", "unload_minutes = 30\nvented = true\n"))
    studio = exchanged(studio, ('[[kilns]]\nid = "K3"', f'{other}[[kilns]]\nid = "K3"'))
    profiles = exchanged(PROFILES, ("unload_below = 90", "unload_below = 90\nvent = true"))
    loads = "id,profile,footprint_cm2,height_mm,mass_kg,kilns\nL1,bisque-04,100,80,0.2,K9\nL2,bisque-04,100,80,0.2,\n"
    (warning,) = warnings_of(write_quayside(tmp_path, studio=studio, profiles=profiles, loads=loads))
    assert warning.place == "load L1, column kilns"
    assert warning.problem == "none of the kilns that it is tied to takes this load (K9: has no vent)"
    assert warning.remedy == "name another kiln, or none: it could go into K1; or change what hinders"


@pytest.mark.parametrize(
    ("inside", "asked"),
    [
        ("[56, 70]", "did you write centimetres? In millimetres it would be [560, 700]"),
        ("[56, 56, 70]", "did you write centimetres? In millimetres it would be [560, 560, 700]"),
        ("[99, 99]", "did you write centimetres? In millimetres it would be [990, 990]"),
        ("[180, 180, 90]", None),  # a muffle for enamel
        ("[560, 560, 3000]", None),
        ("[5600, 560, 700]", "is there a nought too many? Write millimetres"),
    ],
)
def test_an_inside_in_centimetres_is_asked_about_before_anything_else(
    tmp_path: Path, inside: str, asked: str | None
) -> None:
    studio = exchanged(STUDIO, ("inside_mm = [560, 560, 700]", f"inside_mm = {inside}"), ("hands = 2", "hands = 1"))
    found = warnings_of(write_quayside(tmp_path, studio=studio))
    assert [one.remedy for one in found[:1] if one.place.endswith("K1 › inside_mm")] == ([asked] if asked else [])


def rows_of(*rows: str) -> str:
    """Loads of bisque: height, mass and thickness of each, on 1000 cm²."""
    told = "".join(f"L{n},bisque-04,40,1000,{row}\n" for n, row in enumerate(rows, 1))
    return f"id,profile,pieces,footprint_cm2,height_mm,mass_kg,thickness_mm\n{told}"


MUGS = ("110,4,6", "100,3,6", "120,4,6")


@pytest.mark.parametrize(
    ("rows", "places"),
    [
        ((*MUGS, "11,2.5,"), ["load L4, column height_mm"]),
        ((*MUGS, "4,0.9,6"), ["load L4, column height_mm"]),  # less than its wall
        ((*MUGS, "11,4,"), ["load L4, column height_mm", "load L4, column mass_kg"]),
        ((*MUGS, "12,2.4,8"), []),  # tiles
        (("11,4,", "10,3,", "12,3,"), ["column height_mm", "load L1, column mass_kg", "load L2, column mass_kg"]),
        (("25,1,", "20,1,", "15,1,"), []),  # small things
        (("12,2.4,8", "12,2.4,8", "10,2,8"), []),
    ],
)
def test_a_height_in_centimetres_is_asked_about_and_flat_work_is_not(
    tmp_path: Path, rows: tuple[str, ...], places: list[str]
) -> None:
    found = warnings_of(write_quayside(tmp_path, loads=rows_of(*rows)))
    assert [one.place for one in found] == places
    assert all("did you write centimetres?" in one.remedy for one in found)


@pytest.mark.parametrize(
    ("second", "meant"),
    [
        ("Buff  STONEWARE", None),  # the same
        ("buf stoneware", "buff stoneware"),
        ("buff-stoneware", "buff stoneware"),
        ("buffstoneware", "buff stoneware"),
        ("buff earthenware", None),
        ("white stoneware", None),
        ("porcelain", None),
        ("", None),
    ],
)
def test_a_family_near_a_commoner_one_is_asked_about(tmp_path: Path, second: str, meant: str | None) -> None:
    families = ("buff stoneware", "buff stoneware", second)
    rows = "".join(f"L{n},bisque-04,100,80,0.2,{family}\n" for n, family in enumerate(families, 1))
    found = warnings_of(write_quayside(tmp_path, loads=f"id,profile,footprint_cm2,height_mm,mass_kg,family\n{rows}"))
    assert [(one.place, one.remedy) for one in found] == (
        [("load L3, column family", f'did you mean "{meant}"?')] if meant else []
    )


def test_bodies_that_differ_in_a_number_are_not_near_one_another() -> None:
    assert near_family("stoneware 1260", ["stoneware 1200"]) is None
    assert near_family("stoneware 120O", ["stoneware 1200"]) is None
    assert near_family("stonware 1200", ["stoneware 1200", "stoneware 1260"]) == "stoneware 1200"


def test_known_families_are_told_in_their_commonest_spelling() -> None:
    typed = ["Copper", "buff stoneware", "Buff Stoneware", None, "buff stoneware", " copper", "", "copper"]
    assert known_families(typed) == {"buff stoneware": 3, "copper": 2 + 1}
