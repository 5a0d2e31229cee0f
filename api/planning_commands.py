"""The commands about a plan in hand: show, replan, promise, why, chances; and whatif. Taken in by ``register``."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from api.formats import Formats
    from shared.plans import Plan

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


def show(
    folder: Folder,
    plan_file: PlanFile,
    day: Annotated[
        str | None, typer.Option("--day", metavar="DAY", help="A day of the plan; else today, or its first day.")
    ] = None,
    kiln: Annotated[str | None, typer.Option("--kiln", metavar="KILN", help="Print this kiln alone.")] = None,
    sheets: Annotated[
        Path | None, typer.Option("--sheets", metavar="DIR", help="Write a sheet a kiln and an overview there.")
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Write the sheets as PDF too.")] = False,
    now: Now = None,
) -> None:
    """Show a day of a plan in hand, kiln by kiln, and write its sheets; nothing is planned anew."""
    from api.day import Day
    from api.formats import Formats
    from api.planned_days import planned_day
    from api.present import present
    from api.printing.plan_text import plan_text
    from api.requests import kiln_named
    from api.sheets.writing import need_sheets_and_pdf, write_sheets
    from api.single_firing import warm_up
    from api.words import read_words
    from scheduler.audit import prove
    from shared.files import read_folder, read_plan

    studio, loads = read_folder(folder)
    held = read_plan(plan_file, studio)
    words = read_words()
    shown = planned_day(day, held, present(now, studio), studio, words)
    only = None if kiln is None else kiln_named(studio, kiln).id
    if pdf:
        need_sheets_and_pdf(sheets)
    warm_up(studio)
    view, formats = Day(prove(studio, loads, held), shown), Formats(studio, words)
    print(plan_text(view, formats, only), end="")
    if sheets is not None:
        written = write_sheets(view, formats, sheets, pdf=pdf)
        print(words.count("command.sheets", len(written), folder=sheets), file=sys.stderr)


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
        typer.Option(
            "--outcome",
            metavar="FIRING=WHAT",
            help="Of a firing interrupted, or over by the plan: refire, fired, lost.",
        ),
    ] = None,
    hold: Annotated[
        Texts,
        typer.Option(
            "--hold", metavar="FIRING", help="A firing that stays as it is, beside those that the plan marks."
        ),
    ] = None,
    seconds: Seconds = 8.0,
    work: Work = None,
    seed: Seed = 0,
    workers: Annotated[int, typer.Option(min=1, max=256, help="Threads to search with.")] = 2,
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="Write the new plan to this file.")] = None,
    sheets: Annotated[
        Path | None, typer.Option("--sheets", metavar="DIR", help="Write a sheet a kiln and an overview there.")
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Write the sheets as PDF too.")] = False,
    day: Annotated[str | None, typer.Option("--day", metavar="DAY", help="The sheets' day; else today.")] = None,
    write: Annotated[bool, typer.Option("--write", help="Put what has happened into the folder.")] = False,
) -> None:
    """Plan again when something has happened, and tell who is touched."""
    from api.events_asked_for import SaidEvents, events_asked_for
    from api.formats import Formats
    from api.present import present
    from api.printing.replan_text import replan_text
    from api.progress import ProgressLine
    from api.requests import day_asked_for, firing_named
    from api.sheets.writing import need_sheets_and_pdf, write_sheets
    from api.single_firing import warm_up
    from api.words import read_words
    from scheduler.audit import RULES, prove, prove_holds
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
    held = tuple(firing_named(old, name) for name in hold or ())
    shown = day_asked_for(day or local_time(at, studio.place.zone).date().isoformat(), at, studio)
    if pdf:
        need_sheets_and_pdf(sheets)
    warm_up(studio)
    progress = ProgressLine(sys.stderr, words)
    settings = Settings(seconds=None if work is not None else seconds, work_limit=work, seed=seed, workers=workers)
    found = planner.replan(studio, loads, old, now=at, events=events, settings=settings, progress=progress, held=held)
    progress.close()
    audited = prove_holds(prove(found.studio, found.loads, found.plan), found.held)
    formats = Formats(found.studio, words)
    print(
        replan_text(found, formats, now=at, checked=len(RULES), added=frozenset(new.id for new in events.add)), end=""
    )
    if out is not None:
        write_plan(out, audited.plan, found.studio)
        print(words("command.wrote", file=out), file=sys.stderr)
    if sheets is not None:
        from api.day import Day

        written = write_sheets(Day(audited, shown), formats, sheets, pdf=pdf)
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


def why(
    folder: Folder,
    plan_file: PlanFile,
    load: Annotated[str, typer.Argument(metavar="LOAD", help="Id of a load that is late or has no place.")],
    seconds: Annotated[float, typer.Option(min=0.1, max=3600, help="How long to solve each change [s].")] = 1.5,
    work: Work = None,
    now: Now = None,
) -> None:
    """Tell why a load is late or has no place, and what would mend it."""
    from api.formats import Formats
    from api.printing.why_text import why_text
    from api.progress import ProgressLine
    from api.single_firing import warm_up
    from api.words import read_words, rule_name
    from scheduler.audit import prove
    from scheduler.planning.session import Settings
    from scheduler.planning.why import explain_load
    from shared.files import read_folder, read_plan

    studio, loads = read_folder(folder)
    held = read_plan(plan_file, studio)
    words = read_words()
    warm_up(studio)
    prove(studio, loads, held)
    progress = ProgressLine(sys.stderr, words)
    settings = Settings(seconds=None if work is not None else seconds, work_limit=work, workers=1)
    found = explain_load(
        studio, loads, held, load, settings=settings, progress=lambda rule: progress.say(rule_name(rule))
    )
    progress.close()
    own = next(one for one in loads if one.id == load)
    formats = Formats(studio, words)
    print(why_text(found, own, formats), end="")
    _tell_as_made(now, held, formats)


def whatif(
    folder: Folder,
    changes: Annotated[
        list[Path], typer.Argument(metavar="CHANGES...", help="Parts of a studio.toml to lay over the studio's.")
    ],
    seconds: Annotated[float, typer.Option(min=0.1, max=86_400, help="How long each run searches [s].")] = 10.0,
    work: Work = None,
    seeds: Annotated[int, typer.Option(min=1, max=20, help="How many runs for each studio.")] = 3,
    workers: Annotated[int, typer.Option(min=1, max=256, help="Threads to search with.")] = 2,
    now: Now = None,
) -> None:
    """Plan the same loads in a changed studio, and set the two side by side."""
    from api.formats import Formats
    from api.present import present
    from api.printing.whatif_text import whatif_text
    from api.progress import ProgressLine
    from api.requests import day_asked_for, plan_begin
    from api.single_firing import warm_up
    from api.words import read_words
    from scheduler.planning import whatif as planner
    from scheduler.planning.session import Settings
    from shared.errors import RequestError
    from shared.files import read_folder
    from shared.files.changed import read_changed

    studio, loads = read_folder(folder)
    words = read_words()
    studios = {words("whatif.as_it_is"): studio}
    for file in changes:
        if file.stem in studios:
            raise RequestError(f"two columns would be called {file.stem}; give the files names of their own")
        studios[file.stem] = read_changed(folder, file)
    at = present(now, studio)
    begin = plan_begin(day_asked_for(None, at, studio), at, studio)
    warm_up(studio)
    progress = ProgressLine(sys.stderr, words)
    found = planner.whatif(
        studios,
        loads,
        now=at,
        begin=begin,
        settings=Settings(seconds=None if work is not None else seconds, work_limit=work, workers=workers),
        seeds=range(seeds),
        progress=lambda name, seed: progress.say(words("whatif.running", name=name, seed=seed)),
    )
    progress.close()
    print(whatif_text(found, len(loads), Formats(studio, words), now=at, begin=begin), end="")


def chances(
    folder: Folder,
    plan_file: PlanFile,
    samples: Annotated[int, typer.Option(min=100, max=1_000_000, help="How often to play the plan through.")] = 4000,
    seed: Seed = 0,
    everything: Annotated[bool, typer.Option("--all", help="List the promises that are sure, too.")] = False,
    now: Now = None,
) -> None:
    """Tell how sure each promise and each session of a plan is."""
    from api.formats import Formats
    from api.printing.chances_text import chances_text
    from api.single_firing import warm_up
    from api.words import read_words
    from scheduler.audit import prove
    from scheduler.planning import chances as planner
    from shared.files import read_folder, read_plan

    studio, loads = read_folder(folder)
    held = read_plan(plan_file, studio)
    warm_up(studio)
    prove(studio, loads, held)
    found = planner.chances(studio, loads, held, samples=samples, seed=seed)
    formats = Formats(studio, read_words())
    print(chances_text(found, {load.id: load for load in loads}, formats, everything), end="")
    _tell_as_made(now, held, formats)


def _tell_as_made(now: str | None, held: Plan, formats: Formats) -> None:
    """Where ``--now`` lies within a plan that was asked about as it was made, say so."""
    from api.present import present

    if now is not None and (at := present(now, formats.studio)) > held.begin:
        told = formats.words("command.as_made", begin=formats.clock(held.begin), now=formats.clock(at))
        print(told, file=sys.stderr)


def register(app: typer.Typer) -> None:
    """Add these commands to the program's."""
    for command in (show, replan, promise, why, whatif, chances):
        app.command()(command)
