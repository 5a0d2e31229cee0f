"""Checks between tables and files: ids that are unique, references that lead somewhere, things that go together.

A table that is faulty in itself still counts as being there, so that it causes no second fault elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from shared.files.fault_list import FaultList
from shared.files.loads_csv import Row
from shared.files.places import item
from shared.files.toml_tables import StudioTables, Table
from shared.files.values import shown
from shared.files.wording import unknown_id
from shared.kilns import Circuit
from shared.profiles import Profile
from shared.texts import say

AnyTables = Sequence[Table[Any]]


def check_studio(studio: StudioTables, faults: FaultList) -> None:
    """What studio.toml says in one place about another."""
    _unique(studio.circuits, faults)
    _unique(studio.kilns, faults)
    for circuit in studio.circuits:
        _refers(circuit, "fed_from", "circuit", studio.circuits, faults)
    for kiln in studio.kilns:
        _refers(kiln, "circuit", "circuit", studio.circuits, faults)
    for outage in studio.outages:
        _refers(outage, "kiln", "kiln", studio.kilns, faults)
        _refers(outage, "circuit", "circuit", studio.circuits, faults)
    _circles(
        [(name, t.text("fed_from"), f"{t.place} › fed_from") for t in studio.circuits if (name := t.text("id"))],
        (say("fault.fed_end_from"), say("fault.let_first_circuit")),
        faults,
    )
    _legs(studio, faults)


def check_profiles(profiles: Sequence[Table[Profile]], studio: StudioTables | None, faults: FaultList) -> None:
    """What profiles.toml says about itself and asks of the studio."""
    _unique(profiles, faults)
    ids = _ids(profiles)
    for profile in profiles:
        for number, other in enumerate(profile.texts("shares_with")):
            if _leads_nowhere(other, profiles):
                faults.add(
                    f"{profile.place} › {item('shares_with', number)}",
                    *unknown_id(other, "profile", ids, "profiles.toml", _names(profiles)),
                )
            elif other == profile.text("id"):
                faults.add(
                    f"{profile.place} › {item('shares_with', number)}",
                    say("fault.names_the_profile", value=shown(other)),
                    say("fault.remove_loads_one"),
                )
        if studio is None:
            continue
        work, skill = profile.text("work"), profile.text("skill")
        work_lost = any(kiln.lost("work") for kiln in studio.kilns)
        known_work = list(dict.fromkeys(name for kiln in studio.kilns for name in kiln.texts("work")))
        if work and known_work and work not in known_work and not work_lost:
            faults.add(
                f"{profile.place} › work",
                *unknown_id(work, "kiln_for_work", known_work, say("noun.kilns_work")),
            )
        skills = list(dict.fromkeys(name for shift in studio.shifts for name in shift.texts("skills")))
        skills_lost = any(shift.lost("skills") for shift in studio.shifts)
        if skill and studio.shifts and skill not in skills and not skills_lost:
            faults.add(
                f"{profile.place} › skill",
                *unknown_id(skill, "shift_with_skill", skills, say("noun.shifts_skills")),
            )


def check_works(studio: StudioTables, profiles: Sequence[Table[Profile]], faults: FaultList) -> None:
    """A quiet time, a clean-out or a kiln's last work that names an unknown work would do nothing."""
    works = [*(name for kiln in studio.kilns for name in kiln.texts("work"))]
    works += [work for profile in profiles if (work := profile.text("work"))]
    if any(kiln.lost("work") for kiln in studio.kilns) or any(profile.lost("work") for profile in profiles):
        return
    known = list(dict.fromkeys(works))
    named: list[tuple[Table[Any], str, str]] = [
        (quiet, key, name) for quiet in studio.quiet for key, name in _keyed(quiet, "work")
    ]
    named += [
        (one, key, name) for one in studio.clean_outs for key, name in (*_keyed(one, "after"), *_keyed(one, "before"))
    ]
    named += [(kiln, "last_work", name) for kiln in studio.kilns if (name := kiln.text("last_work"))]
    for table, key, work in named:
        if known and work not in known:
            faults.add(f"{table.place} › {key}", *unknown_id(work, "kiln_or_profile", known, say("noun.both")))


def _keyed(table: Table[Any], key: str) -> list[tuple[str, str]]:
    """Each text of a list with where it stands."""
    return [(item(key, number), name) for number, name in enumerate(table.texts(key))]


def check_loads(
    rows: Sequence[Row], studio: StudioTables | None, profiles: Sequence[Table[Profile]] | None, faults: FaultList
) -> None:
    """What loads.csv says about itself, the kilns and the profiles."""
    first_row: dict[str, int] = {}
    for row in rows:
        name = row.cells.get("id")
        if name is not None and first_row.setdefault(name, row.number) != row.number:
            faults.add(
                row.place("id"),
                say("fault.id_row_too", name=shown(name), row=first_row[name]),
                say("fault.give_each_load"),
            )
    kilns = studio.kilns if studio is not None else ()
    records = {p.record.id: p.record for p in profiles or () if p.record is not None}
    strange: dict[tuple[str, str], bool] = {}
    for row in rows:
        if faults.hopeless:
            return
        profile, after = row.cells.get("profile"), row.cells.get("after")
        if profile and profile not in records:
            if ("profile", profile) not in strange:
                # A file without any profile is right by itself, so here none at all is a fault.
                nowhere = profiles is not None and (not profiles or _leads_nowhere(profile, profiles))
                strange["profile", profile] = nowhere
            if strange["profile", profile]:
                faults.add(row.place("profile"), *_unknown(profile, "profile", profiles or (), "profiles.toml", faults))
        if after and after not in first_row:
            words = ("", "") if faults.full else unknown_id(after, "load", first_row, "loads.csv")
            faults.add(row.place("after"), *words)
        for name in [name.strip() for name in row.cells.get("kilns", "").split(";") if name.strip()]:
            if strange.setdefault(("kiln", name), _leads_nowhere(name, kilns)):
                faults.add(row.place("kilns"), *_unknown(name, "kiln", kilns, "studio.toml", faults))
        if profile in records:
            _load_and_profile(row, records[profile], faults)
    # A load after itself has been told of with its row.
    waiting = [
        (name, after if after != name else None, row.place("after"))
        for row in rows
        if (name := row.cells.get("id"))
        for after in [row.cells.get("after")]
    ]
    _circles(waiting, (say("fault.waits_end_itself"), say("fault.let_first_stage")), faults)


def _load_and_profile(row: Row, profile: Profile, faults: FaultList) -> None:
    if profile.unload == "cool":
        for column in ("session_at", "session_hours"):
            if column in row.cells:
                faults.add(
                    row.place(column),
                    say("fault.books_hot_work", value=shown(row.cells[column]), profile=shown(profile.id)),
                    say("fault.leave_empty_name"),
                )
    if profile.sized_by is None:
        return
    if profile.sized_by not in row.cells:
        faults.add(
            row.place(profile.sized_by),
            say("fault.empty_but_profile", profile=shown(profile.id)),
            say("fault.write_largest_pieces"),
        )
    elif row.load is not None:
        size, largest = row.load.size(profile.sized_by), profile.sizes[-1].up_to
        if size is not None and largest is not None and size > largest:
            faults.add(
                row.place(profile.sized_by),
                say("fault.more_than_largest", size=size, profile=shown(profile.id), largest=largest),
                say("fault.name_another_profile"),
            )


def _ids(tables: AnyTables) -> list[str]:
    return [name for table in tables if (name := table.text("id"))]


def _names(tables: AnyTables) -> dict[str, str]:
    """What tables are called besides their id."""
    return {name: own for table in tables if (name := table.text("name")) and (own := table.text("id"))}


def _leads_nowhere(name: str, tables: AnyTables) -> bool:
    """Whether no table can be meant; where there is none at all, that is a fault told of already."""
    strays = (text for table in tables if table.text("id") is None for text in table.stray_texts())
    return bool(tables) and name not in _ids(tables) and name not in strays


def _unique(tables: AnyTables, faults: FaultList) -> None:
    first: dict[str, int] = {}
    for number, table in enumerate(tables, 1):
        name = table.text("id")
        if name is not None and first.setdefault(name, number) != number:
            problem = say("fault.id_too", name=shown(name), first=first[name], second=number)
            faults.add(f"{table.place} › id", problem, say("fault.give_each_own"))


def _refers(table: Table[Any], key: str, what: str, others: AnyTables, faults: FaultList) -> None:
    name = table.text(key)
    if name is not None and _leads_nowhere(name, others):
        faults.add(f"{table.place} › {key}", *unknown_id(name, what, _ids(others), f"[[{what}s]]", _names(others)))


def _unknown(name: str, what: str, tables: AnyTables, where: str, faults: FaultList) -> tuple[str, str]:
    # Looking for the nearest id takes time that nobody should spend on a fault that is not shown.
    return ("", "") if faults.full else unknown_id(name, what, _ids(tables), where, _names(tables))


def _circles(members: Sequence[tuple[str, str | None, str]], words: tuple[str, str], faults: FaultList) -> None:
    """One fault for each circle, at its first member in the file's order. Members: id, next id, place."""
    next_of: dict[str, str | None] = {}
    place_of: dict[str, str] = {}
    for name, following, place in members:
        # Of an id given twice, which is a fault of its own, the first counts.
        next_of.setdefault(name, following)
        place_of.setdefault(name, place)
    done: set[str] = set()
    for start in next_of:
        path: dict[str, int] = {}
        current: str | None = start
        while current is not None and current in next_of and current not in done and current not in path:
            path[current] = len(path)
            current = next_of[current]
        if current is not None and current in path:
            circle = list(path)[path[current] :]
            chain = " → ".join(shown(name) for name in [*circle[:6], *(["…"] if len(circle) > 6 else []), circle[0]])
            faults.add(
                place_of[circle[0]],
                say("fault.circle", value=shown(circle[0]), problem=words[0], chain=chain),
                words[1],
            )
        done.update(path)


def _legs(studio: StudioTables, faults: FaultList) -> None:
    by_id: dict[str, Circuit] = {t.record.id: t.record for t in studio.circuits if t.record is not None}
    for circuit in studio.circuits:
        record = circuit.record
        feeder = by_id.get(record.fed_from) if record is not None and record.fed_from is not None else None
        if record is None or feeder is None:
            continue
        strange = [leg for leg in record.leg_names if leg not in feeder.leg_names]
        if strange:
            key = "on_legs" if record.on_legs is not None else "legs"
            faults.add(
                f"{circuit.place} › {key}",
                say("fault.stands_on_leg", legs=tuple(strange), feeder=shown(feeder.id)),
                say("fault.feeder_name_legs", legs=tuple(feeder.leg_names)),
            )
    for kiln in studio.kilns:
        if kiln.record is None or kiln.record.legs is None:
            continue
        legs = kiln.record.legs
        if len(set(legs)) != len(legs) or not legs:
            faults.add(
                f"{kiln.place} › legs",
                say("fault.names", legs=tuple(legs)) if legs else say("fault.names_no_leg"),
                say("fault.name_each_leg"),
            )
        supply = by_id.get(kiln.record.circuit)
        missing = [leg for leg in legs if supply is not None and leg not in supply.leg_names]
        if supply is not None and missing:
            faults.add(
                f"{kiln.place} › legs",
                say("fault.loads_leg_which", legs=tuple(missing), circuit=shown(supply.id)),
                say("fault.the_circuit_has", legs=tuple(supply.leg_names)),
            )
