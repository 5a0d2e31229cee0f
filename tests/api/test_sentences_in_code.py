"""No sentence that a page, sheet, notice, calendar or answer shows stands in code: all are in the catalogue."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from api.words import read_words

API = Path(__file__).parent.parent.parent / "api"

COMMAND_LINE = {
    "command_line.py", "planning_commands.py", "service_commands.py", "requests.py", "fitting.py", "ageing.py",
    "sheets/writing.py", "storage/backup.py", "storage/engine.py",
    "storage/migrating.py", "storage/studio_store.py",
}  # fmt: skip
"""Modules whose own sentences only the command line tells, which stays English: what is printed, what a file or a
database is refused for, and that a service without a studio was not started with one."""

FOR_PROGRAMS = {"metrics.py", "routes/health.py", "routes/shapes.py"}
"""What programs read: metrics and the description of the API, with its examples."""

DESCRIPTIONS = {"description", "examples"}
"""Arguments that describe the API to those who program against it; its description is English."""

UNTOLD = {"log", "exception", "RuntimeError", "ValueError", "text"}
"""Calls whose texts go to the log, to developers, or to the database."""

NAMES = {
    # what a change in the log did, and to what; kinds of notices and names of counters, which are never shown
    "set password", "sign in", "take over", "let go", "waiting load", "cost rule", "last of loads",
    "last of {}", "over temperature", "not started", "not loaded", "hold ended", "behind {} {}", "moved {} {}",
    "lost {} {}", "promised {} {}", "hold {} {}", "week page", "not there",
    # who is written into the log of changes where no person did it
    "nobody yet", "the service",
    # columns of a table that programs read, and of the metrics
    "minutes after start",
    # what is compared with, not said
    "see the description",
    # how an answer is sent, and who made a calendar
    "public, max-age={}, immutable", "private, max-age=300", 'inline; filename="{}"', "-//Kilnrota//Kiln calendar//EN",
}  # fmt: skip
"""Names of two words and more that are no sentences."""

TWO_WORDS = re.compile(r"[A-Za-z]{2,}[,;:]?\s+(?:\{\}[,;:]?\s+)*[a-z]{2,}")


def literals(path: Path) -> Iterator[tuple[int, str]]:
    """The strings of a module that are neither docstrings nor descriptions; what is filled in is ``{}``."""
    yield from _of(ast.parse(path.read_text(encoding="utf-8")))


def _of(node: ast.AST) -> Iterator[tuple[int, str]]:
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return  # a docstring
    if isinstance(node, ast.Call):
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in UNTOLD:
            return
    if isinstance(node, ast.keyword) and node.arg in DESCRIPTIONS:
        return
    if isinstance(node, ast.Dict):
        described = {id(v) for k, v in zip(node.keys, node.values, strict=True) if _is_description(k)}
        for child in (*filter(None, node.keys), *node.values):
            if id(child) not in described:
                yield from _of(child)
        return
    if isinstance(node, ast.JoinedStr):
        yield node.lineno, "".join(str(one.value) if isinstance(one, ast.Constant) else "{}" for one in node.values)
        for one in node.values:
            if isinstance(one, ast.FormattedValue):
                yield from _of(one.value)
        return
    if isinstance(node, ast.Constant):
        if isinstance(node.value, str):
            yield node.lineno, node.value
        return
    for child in ast.iter_child_nodes(node):
        yield from _of(child)


def _is_description(key: ast.expr | None) -> bool:
    return isinstance(key, ast.Constant) and key.value in DESCRIPTIONS


def sentences_in(path: Path) -> list[str]:
    """The sentences of a module, with their lines."""
    name = path.relative_to(API).as_posix()
    return [
        f"{name}:{line}: {text}"
        for line, text in literals(path)
        if TWO_WORDS.search(text) and text.strip() not in NAMES and not _is_sql(text) and "charset=" not in text
    ]


def _is_sql(text: str) -> bool:
    return text.split(maxsplit=1)[0].isupper()


def test_no_module_that_people_read_holds_a_sentence_of_its_own() -> None:
    modules = [path for path in sorted(API.rglob("*.py")) if "migrations" not in path.parts]
    read = [path for path in modules if path.relative_to(API).as_posix() not in COMMAND_LINE | FOR_PROGRAMS]
    assert len(read) > 70
    assert [found for path in read for found in sentences_in(path)] == []


def test_the_walk_finds_sentences_where_there_are_some() -> None:
    """What was once in code is found: plain, filled in, in an error, in a dictionary."""
    for code in (
        'WHY = "moved by hand"',
        'raise_notice(session, f"lost {key}", "lost", at, f"Load {name} was lost in its firing.")',
        'raise ProblemError(409, "the rule has changed meanwhile; look again", name="stale")',
        'TITLES = {404: "Not there any more"}',
    ):
        assert [text for _, text in _of(ast.parse(code)) if TWO_WORDS.search(text) and text not in NAMES], code
    assert sentences_in(API / "service_commands.py")


def test_every_module_of_the_command_line_is_there_and_has_sentences() -> None:
    """A module that has none any more is held like the others."""
    assert {name for name in COMMAND_LINE if not sentences_in(API / name)} == set()


def test_each_name_that_is_no_sentence_is_in_use() -> None:
    said = {text.strip() for path in API.rglob("*.py") for _, text in literals(path)}
    assert NAMES - said == set()


def test_no_catalogue_text_stands_in_code_a_second_time() -> None:
    english = read_words()
    texts = {english(key) for key in english.keys if TWO_WORDS.search(english(key))}
    twice = [
        f"{path.name}:{line}: {text}"
        for path in sorted(API.rglob("*.py"))
        for line, text in literals(path)
        if text in texts and path.relative_to(API).as_posix() not in COMMAND_LINE and text not in NAMES
    ]
    assert twice == []
