"""The contract's own example of a studio folder, made whole: two kilns, two profiles, four loads."""

from __future__ import annotations

from pathlib import Path

STUDIO = """\
[studio]
name = "Quayside Workshops"
timezone = "Europe/London"
temperature = "C"
currency = "GBP"
room = 20                    # room temperature, studio unit

[[shifts]]
days = ["mon", "tue", "wed", "thu", "fri"]
from = "09:00"
to = "17:30"
hands = 2
skills = ["casting"]

[[closed]]
from = 2026-12-24
to = 2027-01-01

[[circuits]]
id = "main"
breaker_amps = 125
legs = 3

[[circuits]]
id = "back-room"
fed_from = "main"
breaker_amps = 50
legs = 3

[[kilns]]
id = "K1"
name = "Tall front loader"
work = ["bisque", "glaze"]
circuit = "back-room"
legs = ["A", "B", "C"]
volts = 400
amps = 24
kilowatts = 16.6
max_temperature = 1290
inside_mm = [560, 560, 700]
wall_mm = 115
brick = 26                   # as the maker says
load_minutes = 40
unload_minutes = 30
fitted = { power = 0.96, loss = 1.04, storage = 1.00 }

[[kilns]]
id = "K3"
work = ["burnout"]
circuit = "main"
legs = ["B"]
volts = 230
amps = 13
kilowatts = 3
max_temperature = 1000
inside_mm = [300, 300]
wall_mm = 75
brick = "fibre"
load_minutes = 20
unload_minutes = 20
vented = true

# the element came on Monday
[[outages]]
kiln = "K3"
from = 2026-11-30T12:00
to = 2026-12-02T09:00
reason = "element"

[tariff]
default = 0.24
[[tariff.bands]]
days = ["mon", "tue", "wed", "thu", "fri"]
from = "22:00"
to = "08:00"
price = 0.11

[[quiet]]
days = ["tue", "thu"]
from = "15:30"
to = "17:00"
work = ["burnout"]
"""

PROFILES = """\
[[profiles]]
id = "burnout"
name = "Flask burnout, cast at the end"
work = "burnout"
sized_by = "diameter_mm"
unload = "hot"
session = "cast"
skill = "casting"
vent = true
cautions = ["fumes", "hot-flask", "silica-dust"]

[[profiles.sizes]]
up_to = 65
segments = [
  { rate = 120,    to = 165, hold = "2:30" },
  { rate = 250,    to = 720, hold = "3:00" },
  { rate = "full", to = 480, hold = "0:30",
    hold_up_to = "6:00" },
]

[[profiles]]
id = "bisque-04"
work = "bisque"
unload = "cool"
unload_below = 90
segments = [ { rate = 60, to = 120, hold = "2:00" }, { rate = 110, to = 1060, hold = "0:10" } ]
"""

LOADS = """\
id,owner,stream,profile,pieces,footprint_cm2,height_mm,mass_kg,diameter_mm,ready,promised,kilns,alone,after,gap_hours
L1,Ann,student,bisque-04,10,2000,100,9,,2026-11-30T09:00,2026-12-04T17:00,K1,no,,
L2,"Bo, upstairs",production,burnout,3,200,100,4,60,,,,yes,,
L3,Ann,,bisque-04,4,800,140,6.5,,,,,,,
L4,,,bisque-04,4,800,140,6.5,,,,K1;K3,,L3,1:30
"""

CONTENTS = {"studio.toml": STUDIO, "profiles.toml": PROFILES, "loads.csv": LOADS}


def write_quayside(folder: Path, **changed: str | bytes | None) -> Path:
    """Write the folder; ``studio``, ``profiles`` or ``loads`` replace a file's content, None leaves the file out."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in CONTENTS.items():
        said = changed.get(name.split(".")[0], content)
        if isinstance(said, bytes):
            (folder / name).write_bytes(said)
        elif said is not None:
            (folder / name).write_text(said, encoding="utf-8")
    return folder


def exchanged(text: str, *pairs: tuple[str, str]) -> str:
    """The text with each first part, which must be there, exchanged for the second."""
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text
