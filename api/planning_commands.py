"""The commands about a plan in hand: replan, promise. `api.command_line` takes them in with ``register(app)``."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="The studio's folder.")]
PlanFile = Annotated[Path, typer.Argument(metavar="PLAN", help="The plan in hand, a plan file.")]
Texts = list[str] | None
Seconds = Annotated[float, typer.Option(min=0.1, max=86_400, help="How long to search [s].")]
Work = Annotated[
    int | None,
    typer.Option(min=0, help="Search so many rounds, not by the clock: the same work gives the same plan."),
]
Seed = Annotated[int, typer.Option(min=0, max=2**31 - 1, help="Seed of the search's random choices.")]
Now = Annotated[str | None, typer.Option("--now", metavar="TIME", help="As if it were this time: 2026-11-30T14:00.")]


def replan(
    folder: Folder,
    plan: Annotated[Path, typer.Option("--plan", metavar="FILE", help="The plan in hand, a plan file.")],
    now: Now = None,
    down: Annotated[
        Texts, typer.Option("--down", metavar="KILN[:UNTIL]", help="A kiln cannot be used, e.g. K2:2026-12-01T14:00.")
    ] = None,
    circuit_down: Annotated[
        Texts, typer.Option("--circuit-down", metavar="CIRCUIT[:UNTIL]", help="A circuit has no power.")
    ] = None,
    late: Annotated[
        Texts, typer.Option("--late", metavar="FIRING:HOURS", help="A firing runs behind, e.g. F7:2.5.")
    ] = None,
    add: Annotated[Path | None, typer.Option("--add", metavar="FILE", help="More loads, as in loads.csv.")] = None,
    cancel: Annotated[Texts, typer.Option("--cancel", metavar="LOAD", help="A load that is not fired.")] = None,
    absent: Annotated[
        Texts,
        typer.Option("--absent", metavar="DATE[THH:MM]", help="Nobody is there that day, or of the shift from then."),
    ] = None,
    outcome: Annotated[
        Texts,
        typer.Option("--outcome", metavar="FIRING=WHAT", help="Of an interrupted firing: refire, fired or lost."),
    ] = None,
    seconds: Seconds = 8.0,
    work: Work = None,
    seed: Seed = 0,
    workers: Annotated[int, typer.Option(min=1, max=256, help="Threads to search with.")] = 2,
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="Write the new plan to this file.")] = None,
    sheets: Annotated[
        Path | None, typer.Option("--sheets", metavar="DIR", help="Write a sheet a kiln and an overview there.")
    ] = None,
    day: Annotated[str | None, typer.Option("--day", metavar="DAY", help="The sheets' day; else today.")] = None,
    write: Annotated[bool, typer.Option("--write", help="Put what has happened into the folder.")] = False,
) -> None:
    """Plan again when something has happened, and tell who is touched."""
    from api.events_asked_for import SaidEvents, events_asked_for
    from api.formats import Formats
    from api.present import present
    from api.printing.replan_text import replan_text
    from api.progress import ProgressLine
    from api.requests import day_asked_for
    from api.single_firing import warm_up
    from api.words import read_words
    from scheduler.audit import RULES, prove
    from scheduler.planning import replan as planner
    from scheduler.planning.session import Settings
    from shared.clock import local_time
    from shared.files import read_folder, read_plan, write_folder, write_plan

    studio, loads = read_folder(folder)
    old = read_plan(plan, studio)
    at = present(now, studio)
    words = read_words()
    said = SaidEvents(down or (), circuit_down or (), late or (), cancel or (), absent or (), outcome or (), add)
    events = events_asked_for(said, studio, loads, old, at)
    shown = day_asked_for(day or local_time(at, studio.place.zone).date().isoformat(), at, studio)
    warm_up(studio)
    progress = ProgressLine(sys.stderr, words)
    settings = Settings(seconds=None if work is not None else seconds, work_limit=work, seed=seed, workers=workers)
    found = planner.replan(studio, loads, old, now=at, events=events, settings=settings, progress=progress)
    progress.close()
    audited = prove(found.studio, found.loads, found.plan)
    formats = Formats(found.studio, words)
    print(
        replan_text(found, formats, now=at, checked=len(RULES), added=frozenset(new.id for new in events.add)), end=""
    )
    if out is not None:
        write_plan(out, audited.plan, found.studio)
        print(words("command.wrote", file=out), file=sys.stderr)
    if sheets is not None:
        from api.day import Day
        from api.sheets.writing import write_sheets

        written = write_sheets(Day(audited, shown), formats, sheets)
        print(words.count("command.sheets", len(written), folder=sheets), file=sys.stderr)
    if write:
        write_folder(folder, found.studio, found.loads)
        print(words("replan.written", folder=folder), file=sys.stderr)
    elif found.studio != studio or found.loads != loads:
        print(words("replan.not_written"), file=sys.stderr)


def promise(
    folder: Folder,
    plan_file: PlanFile,
    load_file: Annotated[Path, typer.Argument(metavar="LOAD", help="The load asked about: a file as loads.csv.")],
    now: Now = None,
) -> None:
    """Tell when a new load could be out with every promise kept."""
    from api.events_asked_for import loads_from
    from api.formats import Formats
    from api.present import present
    from api.printing.promise_text import promise_text
    from api.single_firing import warm_up
    from api.words import read_words
    from scheduler.audit import prove
    from scheduler.planning import promise as planner
    from shared.files import read_folder, read_plan

    studio, loads = read_folder(folder)
    held = read_plan(plan_file, studio)
    new = loads_from(load_file, studio, loads)
    at = present(now, studio)
    warm_up(studio)
    prove(studio, loads, held)
    formats = Formats(studio, read_words())
    for load in new:
        print(promise_text(planner.promise(studio, loads, held, load, now=at), formats), end="")


def register(app: typer.Typer) -> None:
    """Add these commands to the program's."""
    for command in (replan, promise):
        app.command()(command)
