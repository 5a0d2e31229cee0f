"""Reading a studio folder: what is right is read, and every fault is told at once, at its place, in plain words."""

from __future__ import annotations

from pathlib import Path
from typing import get_args
from zoneinfo import ZoneInfo

import pytest
from pydantic_core import core_schema

from shared.clock import read_moment
from shared.errors import Fault, FolderError
from shared.files import read_folder
from shared.files.wording import plain_words
from tests.shared.quayside import LOADS, PROFILES, STUDIO, exchanged, write_quayside

LONDON = ZoneInfo("Europe/London")
JARGON = ("input should", "extra inputs", "value error", "assertion", "pydantic", "valid ", "type=", "parse", "none")


def faults_of(folder: Path) -> list[Fault]:
    """The faults of a folder that has some."""
    with pytest.raises(FolderError) as caught:
        read_folder(folder)
    faults = list(caught.value.faults)
    for fault in faults:
        assert fault.problem, fault
        assert fault.remedy, fault
        assert not [word for word in JARGON if word in str(fault).casefold()], fault
    return faults


def places(faults: list[Fault]) -> list[str]:
    """Where the faults are."""
    return [f"{fault.file}, {fault.place}" if fault.place else fault.file for fault in faults]


def test_the_contracts_example_is_read(tmp_path: Path) -> None:
    studio, loads = read_folder(write_quayside(tmp_path))
    assert (studio.place.name, studio.place.zone) == ("Quayside Workshops", LONDON)
    assert [kiln.id for kiln in studio.kilns] == ["K1", "K3"]
    assert studio.kiln_by_id["K1"].fitted.power == 0.96
    assert studio.shifts[0].closes == 17 * 60 + 30
    assert studio.outages[0].begins == read_moment("2026-11-30T12:00+00:00", LONDON)
    burnout, bisque = studio.profiles
    assert burnout.segments(0)[2].rate_k_per_hour is None
    assert burnout.segments(0)[2].hold_up_to_minutes == 360
    assert bisque.unload_below_c == 90
    assert [load.id for load in loads] == ["L1", "L2", "L3", "L4"]
    assert loads[0].promised == read_moment("2026-12-04T17:00+00:00", LONDON)
    assert loads[1].owner == "Bo, upstairs"
    assert loads[1].alone
    assert loads[2].stream == "student"
    assert (loads[3].kilns, loads[3].after, loads[3].gap_minutes) == (("K1", "K3"), "L3", 90)


def test_a_folder_in_fahrenheit_is_the_same_studio(tmp_path: Path) -> None:
    fahrenheit = exchanged(
        STUDIO,
        ('temperature = "C"', 'temperature = "F"'),
        ("room = 20 ", "room = 68 "),
        ("max_temperature = 1290", "max_temperature = 2354"),
        ("max_temperature = 1000", "max_temperature = 1832"),
    )
    profiles = exchanged(
        PROFILES,
        ("rate = 120,    to = 165", "rate = 216, to = 329"),
        ("rate = 250,    to = 720", "rate = 450, to = 1328"),
        ("to = 480", "to = 896"),
        ("unload_below = 90", "unload_below = 194"),
        ("rate = 60, to = 120", "rate = 108, to = 248"),
        ("rate = 110, to = 1060", "rate = 198, to = 1940"),
    )
    studio, _ = read_folder(write_quayside(tmp_path / "f", studio=fahrenheit, profiles=profiles))
    same, _ = read_folder(write_quayside(tmp_path / "c"))
    assert studio.place.room_c == pytest.approx(same.place.room_c)
    assert [k.max_temperature_c for k in studio.kilns] == pytest.approx([k.max_temperature_c for k in same.kilns])
    for profile, other in zip(studio.profiles, same.profiles, strict=True):
        for segment, twin in zip(profile.segments(profile.rows[0]), other.segments(other.rows[0]), strict=True):
            assert segment.to_c == pytest.approx(twin.to_c)
            assert segment.rate_k_per_hour == pytest.approx(twin.rate_k_per_hour)
            assert segment.hold_minutes == twin.hold_minutes


def test_twelve_faults_are_told_in_one_run_each_at_its_place(tmp_path: Path) -> None:
    studio = exchanged(
        STUDIO,
        ("Europe/London", "Europe/Londn"),
        ('to = "17:30"', 'to = "25:00"'),
        ("amps = 24", "amps = -24"),
        ("max_temperature = 1290", "max_temprature = 1290"),
        ('circuit = "main"\nlegs = ["B"]', 'circuit = "mian"\nlegs = ["B"]'),
        ("to = 2026-12-02T09:00", "to = 2026-11-29T09:00"),
    )
    profiles = exchanged(PROFILES, ('hold = "0:30"', 'hold = "9:30"'), ("rate = 110", "rate = -110"))
    loads = exchanged(
        LOADS,
        ("L1,Ann,student,bisque-04,10,2000", "L1,Ann,student,bisque-05,10,nan"),
        ("2026-12-04T17:00", "31.12.2026"),
        ("L3,Ann", "L1,Ann"),
    )
    faults = faults_of(write_quayside(tmp_path, studio=studio, profiles=profiles, loads=loads))
    assert sorted(places(faults)) == sorted(
        [
            "studio.toml, studio › timezone",
            "studio.toml, [[shifts]] at line 8 › to",
            "studio.toml, kiln K1 › amps",
            "studio.toml, kiln K1 › max_temprature",
            "studio.toml, kiln K3 › circuit",
            "studio.toml, [[outages]] at line 64",
            "profiles.toml, profile burnout › size 1 › segment 3",
            "profiles.toml, profile bisque-04 › segment 2 › rate",
            "loads.csv, row 2, column profile",
            "loads.csv, row 2, column footprint_cm2",
            "loads.csv, row 2, column promised",
            "loads.csv, row 4, column id",
            "loads.csv, row 5, column after",
        ]
    )
    told = {place: str(fault) for place, fault in zip(places(faults), faults, strict=True)}
    assert told["loads.csv, row 2, column promised"] == (
        'loads.csv, row 2, column promised: "31.12.2026" is not a time; '
        "write year, month and day, the letter T, then the time of day: 2026-11-30T18:00"
    )
    assert told["studio.toml, studio › timezone"].endswith('did you mean "Europe/London"?')
    assert told["studio.toml, kiln K1 › max_temprature"].endswith('did you mean "max_temperature"?')
    assert told["studio.toml, kiln K3 › circuit"].endswith('did you mean "main"?')
    assert "-24 is too small; write a number above 0" in told["studio.toml, kiln K1 › amps"]
    assert 'hold_up_to ("6:00") is shorter than hold ("9:30")' in " ".join(told.values())


STUDIO_FAULTS = [
    ('name = "Quayside Workshops"', "name = 5", "studio › name", "put it in quotes"),
    ('temperature = "C"', 'temperature = "K"', "studio › temperature", "write C or F"),
    ("room = 20 ", "room = true ", "studio › room", "true is not a number"),
    ("hands = 2", "hands = 1.5", "[[shifts]] at line 8 › hands", "not a whole number"),
    (
        '"mon", "tue", "wed", "thu", "fri"]\nfrom = "09',
        '"mon", "tues"]\nfrom = "09',
        "[[shifts]] at line 8 › days 2",
        '"tue"?',
    ),
    ("from = 2026-12-24", "from = 20261224", "[[closed]] at line 15 › from", "is not a date"),
    ("from = 2026-12-24", 'from = "1700000000"', "[[closed]] at line 15 › from", "is not a date"),
    ("from = 2026-12-24", "from = 2027-12-24", "[[closed]] at line 15", "from (2027-12-24)"),
    ('fed_from = "main"', 'fed_from = "back-room"', "circuit back-room › fed_from", "from itself"),
    ('fed_from = "main"', 'fed_from = "attic"', "circuit back-room › fed_from", 'no circuit "attic"'),
    ("breaker_amps = 50\nlegs = 3", "breaker_amps = 50\nlegs = 1", "kiln K1 › legs", "loads leg B, C"),
    ("breaker_amps = 125\nlegs = 3", "breaker_amps = 125\nlegs = 2", "circuit back-room › legs", "stands on leg C"),
    ('id = "back-room"', 'id = "main"', "circuit main › id", "is the id of two of them, no. 1 and no. 2"),
    ('id = "K3"', 'id = "K1"', "kiln K1 › id", "is the id of two of them, no. 1 and no. 2"),
    ('id = "K3"', 'id = "K;3"', "kiln K;3 › id", "cannot be an id"),
    ('legs = ["B"]', 'legs = ["B", "B"]', "kiln K3 › legs", "each leg once"),
    ('legs = ["B"]', 'legs = ["L1"]', "kiln K3 › legs 1", "write A, B or C"),
    ("wall_mm = 115", "wall_mm = inf", "kiln K1 › wall_mm", "not a finite number"),
    ("wall_mm = 115", "wall_mm = nan", "kiln K1 › wall_mm", "not a finite number"),
    ("wall_mm = 115\n", "", "kiln K1 › wall_mm", "is missing"),
    ("volts = 400", "volts = 0xffffffffffffffffffffff", "kiln K1 › volts", "15 digits"),
    ("[300, 300]", "[300]", "kiln K3 › inside_mm", "at least 2"),
    ('brick = "fibre"', 'brick = "fiber"', "kiln K3 › brick", 'did you mean "fibre"?'),
    ("max_temperature = 1290", "max_temperature = 12900", "kiln K1 › max_temperature", "between -60 and 2000 °C"),
    ("storage = 1.00", "stroage = 1.00", "kiln K1 › fitted › stroage", 'did you mean "storage"?'),
    ("vented = true", 'vented = "perhaps"', "kiln K3 › vented", "neither true nor false"),
    ('kiln = "K3"', 'kiln = "K4"', "[[outages]] at line 64 › kiln", 'no kiln "K4"'),
    (
        'kiln = "K3"',
        'kiln = "K3"\ncircuit = "main"',
        "[[outages]] at line 64",
        'needs either kiln ("K3") or circuit ("main")',
    ),
    (
        "from = 2026-11-30T12:00",
        "from = 2026-03-29T01:30",
        "[[outages]] at line 64 › from",
        "skipped by the clock change",
    ),
    ("price = 0.11", "price = -0.11", "tariff › band 1 › price", "write 0 or more"),
    ("[tariff]", "[tarif]", "tarif", 'did you mean "tariff"?'),
    ('work = ["burnout"]\n', 'work = ["burnot"]\n', "[[quiet]] at line 78 › work 1", 'did you mean "burnout"?'),
]


@pytest.mark.parametrize(("old", "new", "place", "words"), STUDIO_FAULTS)
def test_a_fault_in_studio_toml_is_told_once_at_its_place(
    tmp_path: Path, old: str, new: str, place: str, words: str
) -> None:
    text = STUDIO
    if old == 'work = ["burnout"]\n':
        head, _, tail = STUDIO.rpartition(old)
        text = head + new + tail
    else:
        text = exchanged(STUDIO, (old, new))
    faults = faults_of(write_quayside(tmp_path, studio=text))
    assert places(faults)[0] == f"studio.toml, {place}"
    # A kiln or circuit renamed leaves references to its old name behind; nothing else causes a second fault.
    assert len(faults) == 1 or old.startswith("id = ")
    assert words in str(faults[0])


CLEAN_OUT = """
[[clean_outs]]
after = ["burnout"]
before = ["bisque", "glaze"]
minutes = 30
price = 5
"""


def test_clean_outs_a_kilns_last_work_and_a_price_for_each_late_load_are_read(tmp_path: Path) -> None:
    text = exchanged(STUDIO, ('id = "K1"\n', 'id = "K1"\nlast_work = "burnout"\n'))
    text += CLEAN_OUT + CLEAN_OUT.replace("price = 5\n", "") + "[prices]\nlate_load = 2.5\n"
    studio, _ = read_folder(write_quayside(tmp_path, studio=text))
    whole, without_price = studio.clean_outs
    assert (whole.after, whole.before, whole.minutes, whole.price) == (("burnout",), ("bisque", "glaze"), 30.0, 5.0)
    assert without_price.price == 0.0
    assert [kiln.last_work for kiln in studio.kilns] == ["burnout", None]
    assert (studio.prices.late_load, studio.prices.late_hour) == (2.5, 1.0)


@pytest.mark.parametrize(
    ("old", "new", "place", "words"),
    [
        ('"glaze"]', '"glase"]', " › before 2", 'did you mean "glaze"?'),
        ('["burnout"]', '["raku"]', " › after 1", 'no kiln or profile for the work "raku"'),
        ('["burnout"]', "[]", " › after", "a list of at least 1"),
        ('after = ["burnout"]\n', "", " › after", 'write for example after = ["burnout"]'),
        ("minutes = 30", "minutes = 0", " › minutes", "write a number above 0"),
        ("minutes = 30", 'minutes = "0:30"', " › minutes", "minutes = 30"),
        ("price = 5", "price = -5", " › price", "write 0 or more"),
        ("price = 5", "prise = 5", " › prise", 'did you mean "price"?'),
    ],
)
def test_a_fault_in_a_clean_out_is_told_at_its_place(
    tmp_path: Path, old: str, new: str, place: str, words: str
) -> None:
    text = STUDIO + exchanged(CLEAN_OUT, (old, new))
    (fault,) = faults_of(write_quayside(tmp_path, studio=text))
    assert (fault.file, fault.place) == ("studio.toml", f"[[clean_outs]] at line 84{place}")
    assert words in str(fault)


def test_a_kilns_last_work_that_nothing_fires_is_a_fault(tmp_path: Path) -> None:
    text = exchanged(STUDIO, ('id = "K1"\n', 'id = "K1"\nlast_work = "bisqe"\n'))
    (fault,) = faults_of(write_quayside(tmp_path, studio=text))
    assert fault.place == "kiln K1 › last_work"
    assert 'did you mean "bisque"?' in str(fault)


PROFILE_FAULTS = [
    ('work = "bisque"', 'work = "biscuit"', "profile bisque-04 › work", 'no kiln for the work "biscuit"'),
    ('skill = "casting"', 'skill = "castin"', "profile burnout › skill", 'did you mean "casting"?'),
    ("vent = true", 'shares_with = ["bisque-4"]', "profile burnout › shares_with 1", 'did you mean "bisque-04"?'),
    ("vent = true", 'shares_with = ["burnout"]', "profile burnout › shares_with 1", "names the profile itself"),
    ("rate = 60,", "rate = 0,", "profile bisque-04 › segment 1 › rate", "is not a rate"),
    ("rate = 60,", 'rate = "slow",', "profile bisque-04 › segment 1 › rate", "is not a rate"),
    ("rate = 60, ", "", "profile bisque-04 › segment 1 › rate", "is missing"),
    ('hold = "2:00"', 'hold = "2:75"', "profile bisque-04 › segment 1 › hold", "is not a duration"),
    ('sized_by = "diameter_mm"', 'sized_by = "size"', "profile burnout › sized_by", "diameter_mm"),
    ('sized_by = "diameter_mm"', "", "profile burnout", "give both or neither"),
    ('id = "bisque-04"', 'id = "burnout"', "profile burnout › id", "is the id of two of them, no. 1 and no. 2"),
    ("vent = true", "session_people = 0", "profile burnout › session_people", "0 is too small; write 1 or more"),
    ("vent = true", "session_people = 1.5", "profile burnout › session_people", "is not a whole number"),
    ("vent = true", 'session_people = "two"', "profile burnout › session_people", "write for example"),
    ("vent = true", "session_poeple = 2", "profile burnout › session_poeple", 'did you mean "session_people"?'),
    (
        "unload_below = 90",
        "unload_below = 90\nsession_people = 2",
        "profile bisque-04",
        'session_people (2) has no meaning without unload = "hot"; leave it out',
    ),
]


@pytest.mark.parametrize(("old", "new", "place", "words"), PROFILE_FAULTS)
def test_a_fault_in_profiles_toml_is_told_at_its_place(
    tmp_path: Path, old: str, new: str, place: str, words: str
) -> None:
    faults = faults_of(write_quayside(tmp_path, profiles=exchanged(PROFILES, (old, new))))
    found = [fault for fault in faults if fault.file == "profiles.toml"]
    assert [fault.place for fault in found] == [place]
    assert words in str(found[0])
    assert len(faults) == 1 or old == 'id = "bisque-04"'


LOAD_FAULTS = [
    ("9,,2026-11-30", "-9,,2026-11-30", "row 2, column mass_kg", "write a number above 0"),
    ("9,,2026-11-30", '"9,5",,2026-11-30', "row 2, column mass_kg", "write it with a point, 9.5"),
    ("9,,2026-11-30", "inf,,2026-11-30", "row 2, column mass_kg", "is not a number"),
    ("9,,2026-11-30", ",,2026-11-30", "row 2, column mass_kg", "is empty"),
    (",10,2000", ",1.5,2000", "row 2, column pieces", "is not a whole number"),
    (",10,2000", ",1_0,2000", "row 2, column pieces", "is not a number"),
    (",10,2000", ",0,2000", "row 2, column pieces", "write 1 or more"),
    ("student", "pupil", "row 2, column stream", "write student or production"),
    ("2026-11-30T09:00", "2026-02-30T09:00", "row 2, column ready", "is not a time"),
    ("K1,no", "K9,no", "row 2, column kilns", 'no kiln "K9"'),
    ("K1,no", "K1,maybe", "row 2, column alone", "write yes or no"),
    ("100,4,60", "100,4,66", "row 3, column diameter_mm", "more than the largest size"),
    ("100,4,60", "100,4,", "row 3, column diameter_mm", "is sized by it"),
    ("L3,1:30", "L9,1:30", "row 5, column after", 'no load "L9"'),
    ("L3,1:30", "L4,1:30", "row 5, column after", "names the load itself"),
    ("L3,1:30", "L3,-2", "row 5, column gap_hours", "is not a duration"),
    ("6.5,,,,,,,\n", "6.5,,,,,,L4,\n", "row 4, column after", "waits, in the end, for itself"),
    ("6.5,,,,,,,\n", "6.5,,\n", "row 4", "has 10 cells where the header has 15"),
    ("6.5,,,,,,,\n", "6.5,,,,,,,,x\n", "row 4", "has 16 cells where the header has 15"),
    ("bisque-04,4", "bisk-04,4", "row 4, column profile", 'did you mean "bisque-04"?'),
    ("mass_kg", "mass", "row 1, column mass", 'did you mean "mass_kg"?'),
    ("owner", "id", "row 1, column id", "stands twice"),
    ("owner", "who", "row 1, column who", "is not a column"),
]


@pytest.mark.parametrize(("old", "new", "place", "words"), LOAD_FAULTS)
def test_a_fault_in_loads_csv_is_told_once_at_its_cell(
    tmp_path: Path, old: str, new: str, place: str, words: str
) -> None:
    faults = faults_of(write_quayside(tmp_path, loads=exchanged(LOADS, (old, new))))
    assert places(faults) == [f"loads.csv, {place}"]
    assert words in str(faults[0])


@pytest.mark.parametrize("column", ["id", "profile", "footprint_cm2", "height_mm", "mass_kg"])
def test_a_column_that_must_be_there_is_missed(tmp_path: Path, column: str) -> None:
    rows = [line.split(",") for line in LOADS.replace('"Bo, upstairs"', "Bo").splitlines()]
    position = rows[0].index(column)
    text = "\n".join(",".join(cell for at, cell in enumerate(row) if at != position) for row in rows)
    faults = faults_of(write_quayside(tmp_path, loads=text))
    assert places(faults)[0] == f"loads.csv, row 1, column {column}"


@pytest.mark.parametrize("column", ["session_at", "session_hours"])
def test_hot_work_is_not_booked_for_what_is_unloaded_cool(tmp_path: Path, column: str) -> None:
    cell = {"session_at": "2026-12-02T14:00", "session_hours": "2"}[column]
    loads = f"id,profile,footprint_cm2,height_mm,mass_kg,{column}\nL1,bisque-04,100,100,1,{cell}\n"
    assert places(faults_of(write_quayside(tmp_path, loads=loads))) == [f"loads.csv, row 2, column {column}"]


def test_a_faulty_kiln_causes_no_unknown_kiln_and_hides_no_other_fault(tmp_path: Path) -> None:
    studio = exchanged(STUDIO, ("volts = 230", 'volts = "lots"'), ("price = 0.11", 'price = "low"'))
    assert places(faults_of(write_quayside(tmp_path, studio=studio))) == [
        "studio.toml, kiln K3 › volts",
        "studio.toml, tariff › band 1 › price",
    ]


def test_a_misspelt_key_is_told_once_and_not_missed_as_well(tmp_path: Path) -> None:
    studio = exchanged(STUDIO, ('work = ["burnout"]', 'wrok = ["burnout"]'))
    assert places(faults_of(write_quayside(tmp_path, studio=studio))) == ["studio.toml, kiln K3 › wrok"]


def test_a_broken_studio_table_lets_the_other_faults_be_found(tmp_path: Path) -> None:
    studio = exchanged(
        STUDIO, ('temperature = "C"', 'temperature = "K"'), ("max_temperature = 1290", "max_temperature = 2350")
    )
    loads = exchanged(LOADS, ("K1,no", "K1,maybe"))
    # 2350 would be right in °F and wrong in °C: with neither said, nothing can be said of it.
    assert places(faults_of(write_quayside(tmp_path, studio=studio, loads=loads))) == [
        "studio.toml, studio › temperature",
        "loads.csv, row 2, column alone",
    ]


@pytest.mark.parametrize("name", ["studio.toml", "profiles.toml", "loads.csv"])
def test_a_missing_file_is_one_fault_and_causes_none_elsewhere(tmp_path: Path, name: str) -> None:
    folder = write_quayside(tmp_path)
    (folder / name).rename(folder / name.upper())
    (fault,) = faults_of(folder)
    assert (fault.file, fault.problem) == (name, "is not there")
    assert name.upper() in fault.remedy


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_spreadsheets_save_with_other_separators_and_line_ends(tmp_path: Path, separator: str, ending: str) -> None:
    lines = ["id,profile,footprint_cm2,height_mm,mass_kg,kilns", 'L1,bisque-04,100,80,2.5,"K1;K3"', ",,,,,", ""]
    text = "\ufeff" + ending.join(line.replace(",", separator) for line in lines)
    _, (load,) = read_folder(write_quayside(tmp_path, loads=text.encode()))
    assert (load.id, load.mass_kg, load.kilns) == ("L1", 2.5, ("K1", "K3"))


def test_rows_are_counted_as_a_spreadsheet_shows_them(tmp_path: Path) -> None:
    loads = (
        'id,profile,footprint_cm2,height_mm,mass_kg,note\n\n,,,,,\nL1,bisque-04,1,1,1,"two\nlines"\nL2,nope,1,1,1,\n'
    )
    assert places(faults_of(write_quayside(tmp_path, loads=loads))) == ["loads.csv, row 5, column profile"]


def test_a_cone_number_stays_the_text_that_stands_there(tmp_path: Path) -> None:
    profiles = exchanged(PROFILES, ('id = "bisque-04"', 'id = "06"'))
    loads = "id,profile,footprint_cm2,height_mm,mass_kg\n007,06,100,80,2\n"
    _, (load,) = read_folder(write_quayside(tmp_path, profiles=profiles, loads=loads))
    assert (load.id, load.profile) == ("007", "06")


def test_no_kind_of_error_is_told_in_the_validation_librarys_words() -> None:
    for kind in get_args(core_schema.ErrorType):
        problem, remedy = plain_words(
            {"type": kind, "loc": ("amps",), "msg": "Input should be a valid pydantic thing", "input": "x", "ctx": {}},
            "amps = 24",
            ("amps",),
        )
        assert problem
        assert remedy
        assert not [word for word in JARGON if word in f"{problem} {remedy}".casefold()], kind


NOT_TOML = [
    (
        "amps = 24\n",
        "amps = 18 A\n",
        '"A" stands behind a number',
        "write the number alone, amps = 18: the key says the un",
    ),
    ("amps = 24\n", "amps = 16,8\n", '"16,8" has a decimal comma', "write it with a point, 16.8"),
    ("amps = 24\n", "amps = 24;\n", '";" stands behind the value', "write one value on a line"),
    ("amps = 24\n", "amps 24\n", "no = between", "write it as amps = 18"),
    ("amps = 24\n", "amps =\n", '"amps" has no value', "write its value"),
    ("vented = true", "vented = yes", '"yes" is neither true nor false', "write vented = true"),
    ('"Tall front loader"', "Tall front loader", "is a text without straight quotes", 'in quotes, "Tall front loader"'),
    (
        '"Tall front loader"',
        "“Tall front loader”",
        "is a text without straight quotes",
        'in quotes, "Tall front loader"',
    ),
    ('"Tall front loader"', '"Tall front loader', "the quotes of a text are not closed", "write it as"),
    ('work = ["bisque", "glaze"]', 'work = [bisque, "glaze"]', '"bisque" is a text without', 'in quotes, "bisque"'),
    ("[560, 560, 700]", "[560 560 700]", "a list is not closed, or lacks a comma", "[560, 560, 700]"),
    ("from = 2026-12-24", "from = 24.12.2026", '"24.12.2026" is not a time', "year, month and day, the letter T"),
    ("[[closed]]", "[[closed]", "a heading does not end with its brackets", "[[kilns]] where there are several"),
]


@pytest.mark.parametrize(("old", "new", "problem", "remedy"), NOT_TOML)
def test_a_line_that_cannot_be_read_is_told_in_the_words_of_whoever_wrote_it(
    tmp_path: Path, old: str, new: str, problem: str, remedy: str
) -> None:
    """The parser's own words, "expected newline or end of document after a statement", say nothing to a kiln room."""
    faults = faults_of(write_quayside(tmp_path, studio=exchanged(STUDIO, (old, new))))
    (fault,) = [fault for fault in faults if fault.file == "studio.toml"]
    assert fault.place.startswith("line ")
    assert problem in fault.problem
    assert remedy in fault.remedy
    assert fault.remedy.endswith("; what follows could not be read")


@pytest.mark.parametrize(
    ("row", "number"),
    [
        ("L1,bisque-04,12,3200,110,16,8,7,buff", '"16,8" in mass_kg'),
        ("L1,bisque-04,12,3200,110,16.8,7,5,buff", '"7,5" in thickness_mm'),
        ("L1,bisque-04,12,3200,110,16.8,7,buff,more", None),
    ],
)
def test_a_decimal_comma_in_loads_csv_is_seen_for_what_it_is(tmp_path: Path, row: str, number: str | None) -> None:
    loads = f"id,profile,pieces,footprint_cm2,height_mm,mass_kg,thickness_mm,family\n{row}\n"
    (fault,) = faults_of(write_quayside(tmp_path, loads=loads))
    assert "has 9 cells where the header has 8" in fault.problem
    assert ("its comma" in fault.problem or "the comma of" in fault.problem) == (number is not None)
    if number is not None:
        assert number in fault.problem
        assert "with a point" in fault.remedy


def test_a_kilns_name_where_its_id_belongs_is_answered_with_the_id(tmp_path: Path) -> None:
    loads = "id,profile,footprint_cm2,height_mm,mass_kg,kilns\nL1,bisque-04,100,80,2,tall front loader\n"
    (fault,) = faults_of(write_quayside(tmp_path, loads=loads))
    assert fault.problem == 'there is no kiln "tall front loader"'
    assert fault.remedy == '"Tall front loader" is the name of K1: write its id, K1'


def test_a_time_that_is_none_is_answered_with_what_its_parts_are(tmp_path: Path) -> None:
    (fault,) = faults_of(write_quayside(tmp_path, loads=exchanged(LOADS, ("2026-12-04T17:00", "04-12-2026"))))
    assert fault.remedy == "write year, month and day, the letter T, then the time of day: 2026-11-30T18:00"
