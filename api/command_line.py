"""The command ``kilnrota``. Each command parses, calls, prints; heavy imports stand inside, so that help is quick."""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer
from typer.exceptions import TyperException

from api import planning_commands
from api.service_commands import register
from shared.errors import AuditError, FolderError, KilnrotaError, RequestError

DONE, UNEXPECTED, FAULTS, BREACHES, STOPPED = 0, 1, 2, 3, 130
"""Exit codes: done; an error of the program's own; faults in what was given; a plan that breaks a rule; stopped by
the person (128 + SIGINT, as shells count)."""

DEBUG = "KILNROTA_DEBUG"
"""Environment variable that makes an unexpected error print its traceback."""

app = typer.Typer(
    name="kilnrota",
    help="Plans the firings of a studio that runs several electric kilns.",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    no_args_is_help=True,
)

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="The studio's folder.")]
Now = Annotated[
    str | None, typer.Option("--now", metavar="TIME", help="Plan as if it were this time, e.g. 2026-11-29T18:00.")
]
LogProfiles = Annotated[
    list[str] | None,
    typer.Option(
        "--profile", metavar="PROFILE", help="What was fired: once, or once a log; else read off the log's name."
    ),
]
LogMasses = Annotated[
    list[float] | None,
    typer.Option("--mass", metavar="KG", min=0.001, max=5000, help="Weighed ware: once, or once a log."),
]
LogSizes = Annotated[
    list[float] | None,
    typer.Option(
        "--size", metavar="SIZE", min=0.001, help="Largest piece, as profiles are sized: once, or once a log."
    ),
]
LogLayers = Annotated[
    list[int] | None, typer.Option("--layers", metavar="N", min=1, max=100, help="Shelves: once, or once a log.")
]


@app.command()
def plan(
    folder: Folder,
    day: Annotated[
        str | None, typer.Option("--day", metavar="DAY", help="The day to show, e.g. 2026-11-30; else tomorrow.")
    ] = None,
    kiln: Annotated[str | None, typer.Option("--kiln", metavar="KILN", help="Show this kiln alone.")] = None,
    seconds: Annotated[float, typer.Option(min=0.1, max=86_400, help="How long to search [s].")] = 20.0,
    work: Annotated[
        int | None,
        typer.Option(min=0, help="Search so many rounds, not by the clock: the same work gives the same plan."),
    ] = None,
    seed: Annotated[int, typer.Option(min=0, max=2**31 - 1, help="Seed of the search's random choices.")] = 0,
    workers: Annotated[int, typer.Option(min=1, max=256, help="Threads to search with.")] = 2,
    now: Now = None,
    hold: Annotated[
        Path | None,
        typer.Option("--hold", metavar="FILE", help="A plan file; the firings that it marks as held stay as they are."),
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="Write the plan to this file.")] = None,
    sheets: Annotated[
        Path | None, typer.Option("--sheets", metavar="DIR", help="Write a sheet a kiln and an overview there.")
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Write the sheets as PDF too.")] = False,
) -> None:
    """Plan the firings and show a day, kiln by kiln."""
    from api.day import Day
    from api.formats import Formats
    from api.present import present
    from api.printing.columns import paragraph
    from api.printing.holds_text import hold_lines
    from api.printing.plan_text import plan_text
    from api.progress import ProgressLine
    from api.requests import day_asked_for, kiln_named, plan_begin
    from api.searching import apart_text, search_text
    from api.single_firing import warm_up
    from api.words import read_words
    from scheduler.audit import prove, prove_holds
    from scheduler.planning import door
    from shared.files import read_folder, read_plan, write_plan

    studio, loads = read_folder(folder)
    words = read_words()
    held = () if hold is None else tuple(firing for firing in read_plan(hold, studio).firings if firing.held)
    now_minute = present(now, studio)
    shown_day = day_asked_for(day, now_minute, studio)
    only = None if kiln is None else kiln_named(studio, kiln).id
    if pdf:
        from api.sheets.writing import need_sheets_and_pdf

        need_sheets_and_pdf(sheets)
    progress = ProgressLine(sys.stderr, words)
    settings = door.Settings(seconds=None if work is not None else seconds, work_limit=work, seed=seed, workers=workers)
    progress.say(words("progress.preparing"))
    warm_up(studio)
    made = door.plan(
        studio,
        loads,
        now=now_minute,
        begin=plan_begin(shown_day, now_minute, studio),
        settings=settings,
        progress=progress,
        held=held,
    )
    progress.close()
    audited = prove_holds(prove(studio, loads, made), held)
    view, formats = Day(audited, shown_day), Formats(studio, words)
    print(plan_text(view, formats, only), end="")
    searched = "" if work is not None else search_text(progress.history, audited.plan, seconds, formats)
    if searched and only is None:
        print(*paragraph(searched, indent=2, hanging=2), sep="\n")
    if made.hold_notes:
        print("", *hold_lines(made, formats), sep="\n")
    if out is not None:
        write_plan(out, audited.plan, studio)
        print(words("command.wrote", file=out), file=sys.stderr)
    if sheets is not None:
        from api.sheets.writing import write_sheets

        written = write_sheets(view, formats, sheets, pdf=pdf)
        print(words.count("command.sheets", len(written), folder=sheets), file=sys.stderr)
    if apart := apart_text(loads, audited.plan, now_minute, formats):
        print(apart, file=sys.stderr)


@app.command()
def check(folder: Folder, now: Now = None) -> None:
    """Read a studio's folder and report every fault, and what looks doubtful."""
    from api.checking import warnings_of
    from api.present import present
    from api.words import read_words
    from shared.files import read_folder

    studio, loads = read_folder(folder)
    words = read_words()
    warnings = warnings_of(studio, loads, present(now, studio), words)
    for warning in warnings:
        print(words("command.warning", text=warning))
    print(
        words(
            "command.checked",
            studio=studio.place.name,
            kilns=words.count("command.kilns", len(studio.kilns)),
            profiles=words.count("command.profiles", len(studio.profiles)),
            loads=words.count("firing.loads", len(loads)),
            warnings=words.count("command.warnings", len(warnings)),
        )
    )


@app.command()
def fire(
    folder: Folder,
    kiln: Annotated[str, typer.Argument(metavar="KILN", help="Id of the kiln.")],
    profile: Annotated[str, typer.Argument(metavar="PROFILE", help="Id of the profile.")],
    mass: Annotated[
        float | None,
        typer.Option(min=0.001, max=5000, metavar="KG", help="Mass of the ware; else its shelves' mass."),
    ] = None,
    size: Annotated[
        float | None, typer.Option(min=0.001, help="Largest piece, where the profile is sized; else its last row.")
    ] = None,
    layers: Annotated[int | None, typer.Option(min=1, max=100, help="Shelves in use; else a full kiln's.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Compute how one firing would go: a table and a curve."""
    from api.printing.course_text import course_json, course_text
    from api.requests import kiln_named, profile_named
    from api.single_firing import compute_firing
    from api.words import read_words
    from shared.files import read_folder

    studio, _ = read_folder(folder)
    single = compute_firing(studio, kiln_named(studio, kiln), profile_named(studio, profile), mass, size, layers)
    words = read_words()
    print(course_json(single, studio) if as_json else course_text(single, studio, words), end="")


@app.command()
def audit(
    folder: Folder,
    plan_file: Annotated[Path, typer.Argument(metavar="PLAN", help="A plan file, made anywhere.")],
) -> None:
    """Prove a plan file rule by rule, or print each rule that it breaks."""
    from api.printing.audit_text import audit_text
    from api.words import read_words
    from scheduler.audit import breaches
    from shared.files import read_folder, read_plan

    studio, loads = read_folder(folder)
    read = read_plan(plan_file, studio)
    found = breaches(studio, loads, read)
    print(audit_text(found, read, studio, read_words()), end="")
    if found:
        raise typer.Exit(BREACHES)


@app.command()
def fit(
    folder: Folder,
    kiln: Annotated[str, typer.Argument(metavar="KILN", help="Id of the kiln.")],
    logs: Annotated[list[Path], typer.Argument(metavar="LOG...", help="Recorded firings, CSV.")],
    profile: LogProfiles = None,
    mass: LogMasses = None,
    size: LogSizes = None,
    layers: LogLayers = None,
    plot: Annotated[Path | None, typer.Option("--plot", metavar="FILE", help="Draw logs and model, SVG.")] = None,
    write: Annotated[bool, typer.Option("--write", help="Put the factors into studio.toml.")] = False,
) -> None:
    """Fit a kiln's thermal model to recorded firings."""
    from api.fitting import FiredAs, fit_logs
    from api.formats import Formats
    from api.printing.fit_text import fit_text
    from api.requests import kiln_named
    from api.words import read_words
    from scheduler.firing.fit import FitRefused
    from shared.files import read_folder, write_fitted

    studio, _ = read_folder(folder)
    words = read_words()
    formats = Formats(studio, words)
    fired_as = FiredAs(profile or (), mass or (), size or (), layers or ())
    try:
        outcome = fit_logs(studio, kiln_named(studio, kiln), logs, fired_as)
    except FitRefused as refusal:
        raise RequestError(words("fit.refused", why=refusal)) from None
    print(fit_text(outcome, formats), end="")
    if plot is not None:
        from api.sheets.fit_plot import fit_plot
        from api.sheets.writing import write_text

        write_text(plot, fit_plot(outcome, formats))
        print(words("command.wrote", file=plot), file=sys.stderr)
    if write:
        write_fitted(folder, kiln, outcome.fit.fitted)
        print(words("fit.written", kiln=kiln, file=folder / "studio.toml"))
    else:
        print(words("fit.not_written"))


@app.command()
def ageing(
    folder: Folder,
    kiln: Annotated[str, typer.Argument(metavar="KILN", help="Id of the kiln.")],
    logs: Annotated[list[Path], typer.Argument(metavar="LOG...", help="Recorded firings since new elements, CSV.")],
    profile: LogProfiles = None,
    mass: LogMasses = None,
    size: LogSizes = None,
    layers: LogLayers = None,
    now: Now = None,
) -> None:
    """Report how a kiln's elements age, and when they will be due."""
    from api.ageing import age_of
    from api.fitting import FiredAs
    from api.present import present
    from api.requests import kiln_named
    from api.words import read_words
    from shared.clock import local_time
    from shared.files import read_folder

    studio, _ = read_folder(folder)
    words = read_words()
    today = local_time(present(now, studio), studio.place.zone).date()
    fired_as = FiredAs(profile or (), mass or (), size or (), layers or ())
    found = age_of(studio, kiln_named(studio, kiln), logs, fired_as, today)
    for name, reading in found.readings:
        spread = words("ageing.spread", percent=f"{100 * reading.error:.0f}")
        print(words("ageing.reading", log=name, day=reading.on, percent=f"{100 * reading.power:.0f}", spread=spread))
    for text in found.left_aside:
        print(words("ageing.aside", text=text))
    print(words("ageing.report", kiln=found.kiln.title, profile=found.hottest.title, text=found.report.text))


register(app)
planning_commands.register(app)


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; every error is written in words on standard error."""
    try:
        given = None if arguments is None else list(arguments)
        code = app(args=given, prog_name="kilnrota", standalone_mode=False)
        # Without its standalone mode typer returns the exit code of typer.Exit, and 130 for an interrupt.
        return code if isinstance(code, int) else DONE
    except typer.Exit as stop:
        return stop.exit_code
    except (KeyboardInterrupt, typer.Abort):
        _say("stopped")
        return STOPPED
    except TyperException as error:
        _say(_with_help(error))
        return FAULTS
    except FolderError as error:
        for fault in error.faults:
            _say(str(fault))
        return FAULTS
    except AuditError as error:
        _say(str(error))
        return BREACHES
    except KilnrotaError as error:
        _say(str(error))
        return FAULTS
    except BrokenPipeError:
        # The reader went away (``kilnrota plan … | head``): nothing is wrong, nothing is left to say.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except Exception as error:
        if os.environ.get(DEBUG):
            traceback.print_exc()
        _say(
            f"an error in kilnrota itself: {type(error).__name__}: {_one_line(error)}. "
            f"Please report this line, the command and, if you may, the studio folder ({DEBUG}=1 prints more)."
        )
        return UNEXPECTED


def main() -> None:
    """The console script."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that lacks a sign shows a question mark, not an error.
        stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    code = run()
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(code)


def _with_help(error: TyperException) -> str:
    """What is wrong with a command line, and where stands what would be right."""
    context = getattr(error, "ctx", None)
    path = context.command_path if context is not None else "kilnrota"
    return f"{error.format_message().rstrip('.')}; {path} --help tells what it takes"


def _say(text: str) -> None:
    print(text, file=sys.stderr)


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())[:300]


if __name__ == "__main__":
    main()
