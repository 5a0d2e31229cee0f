# ruff: noqa: E501
"""A small studio, as the files of its folder: two ceramics kilns, one glass kiln in Fahrenheit, one for flasks."""

from __future__ import annotations

from pathlib import Path

STUDIO = """
[studio]
name = "Weir Lane Kilns"
timezone = "Europe/Lisbon"
temperature = "C"
currency = "EUR"
room = 18

[[shifts]]
days = ["mon", "tue", "wed", "thu", "fri"]
from = "09:00"
to = "18:00"
hands = 3
skills = ["casting"]
who = "Ana and Rui"

[[shifts]]
days = ["mon", "tue", "wed", "thu", "fri"]
from = "18:00"
to = "22:00"
hands = 1

[[circuits]]
id = "main"
breaker_amps = 63
legs = 3

[[circuits]]
id = "bench"
fed_from = "main"
breaker_amps = 40
legs = 1
on_legs = ["A"]

[[kilns]]
id = "K1"
name = "Front loader"
work = ["bisque", "glaze"]
circuit = "main"
volts = 400
amps = 24
kilowatts = 16.6
max_temperature = 1290
inside_mm = [560, 560, 700]
wall_mm = 115
brick = 26
load_minutes = 40
unload_minutes = 30
vented = true

[[kilns]]
id = "K2"
name = "Glass kiln"
work = ["glass"]
circuit = "bench"
volts = 230
amps = 16
kilowatts = 3.68
max_temperature = 950
inside_mm = [450, 450, 220]
wall_mm = 75
brick = "fibre"
load_minutes = 30
unload_minutes = 20
controller = "F"

[[kilns]]
id = "K3"
name = "Flask oven"
work = ["burnout"]
circuit = "bench"
volts = 230
amps = 13
kilowatts = 2.99
max_temperature = 1000
inside_mm = [400, 400, 260]
wall_mm = 75
brick = 23
load_minutes = 20
unload_minutes = 30
vented = true

[[kilns]]
id = "K4"
name = "Test kiln"
work = ["glaze"]
circuit = "bench"
volts = 230
amps = 10
kilowatts = 2.3
max_temperature = 1250
inside_mm = [250, 300]
wall_mm = 65
brick = 23
load_minutes = 10
unload_minutes = 10

[[outages]]
kiln = "K4"
from = 2026-11-28T09:00
reason = "relay on order"

[tariff]
default = 0.30

[rules]
load_below = 60
horizon_days = 6
"""

PROFILES = """
[[profiles]]
id = "bisque-04"
name = "Bisque, cone 04"
work = "bisque"
unload_below = 90
one_family = true
vent = true
cautions = ["hot-kiln", "fumes", "silica-dust"]
segments = [{ rate = 80, to = 120, hold = "2:00" }, { rate = 110, to = 1060, hold = "0:10" }]

[[profiles]]
id = "fuse"
name = "Full fuse"
work = "glass"
unload_below = 45
cautions = ["sharp-glass", "our own rule: no talc"]
segments = [
  { rate = 150, to = 540, hold = "0:20" },
  { rate = 200, to = 800, hold = "0:12" },
  { rate = "full", to = 512, hold = "1:00" },
  { rate = 60, to = 400 },
]

[[profiles]]
id = "burnout"
name = "Wax burnout"
work = "burnout"
sized_by = "diameter_mm"
unload = "hot"
session = "casting"
skill = "casting"
vent = true
cautions = ["burnout-smoke", "hot-flask"]

[[profiles.sizes]]
up_to = 65
segments = [
  { rate = 120, to = 149, hold = "2:00" },
  { rate = 250, to = 732, hold = "2:00" },
  { rate = "full", to = 480, hold = "1:00", hold_up_to = "8:00" },
]

[[profiles.sizes]]
up_to = 90
segments = [
  { rate = 120, to = 149, hold = "2:00" },
  { rate = 220, to = 732, hold = "3:00" },
  { rate = "full", to = 480, hold = "1:00", hold_up_to = "8:00" },
]

[[profiles]]
id = "glaze-6"
name = "Glaze, cone 6"
work = "glaze"
unload_below = 90
segments = [{ rate = 100, to = 1215, hold = "0:10" }]
"""

LOADS = """\
id,owner,stream,profile,pieces,footprint_cm2,height_mm,mass_kg,diameter_mm,family,max_temperature,ready,promised,priority,session_hours,note
B1,Tue evening class,student,bisque-04,28,2380,112,11.5,,buff,1240,2026-11-29T12:00,2026-12-02T17:00,2,,"Mugs, rim to rim."
B2,Zoë <north> & co,student,bisque-04,40,6000,90,22,,buff,1240,,2026-12-01T08:00,3,,
F1,Marta,production,fuse,6,1500,12,4,,art glass,,,2026-12-01T17:00,,,"Two blues: keep apart."
C1,Casting course,student,burnout,5,500,80,4.5,64,wax,,,2026-12-01T18:00,2,2.0,Sprue hole down.
G1,Jonas,student,glaze-6,4,300,100,1.5,,buff,1240,,2026-12-03T17:00,1,,Waits for the relay.
"""


def write_small_studio(folder: Path, studio: str = STUDIO, profiles: str = PROFILES, loads: str = LOADS) -> Path:
    """Write the studio's three files into ``folder``."""
    (folder / "studio.toml").write_text(studio, encoding="utf-8")
    (folder / "profiles.toml").write_text(profiles, encoding="utf-8")
    (folder / "loads.csv").write_text(loads, encoding="utf-8")
    return folder
