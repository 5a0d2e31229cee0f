"""Writes into the README what the commands print whose output it shows: ``python -m tests.refresh_readme``.

The test of the README compares by the same two functions, so a README that is out of date fails the checks.
"""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

README = Path(__file__).parent.parent / "README.md"
SHOWN = re.compile(r"<!-- output of: kilnrota (?P<command>.+?) -->\n```text\n(?P<output>.*?)```", re.DOTALL)


def printed_by(command: str) -> str:
    """What ``kilnrota`` prints for a command line of the README."""
    run = subprocess.run(
        [sys.executable, "-m", "api.command_line", *shlex.split(command)],
        cwd=README.parent,
        capture_output=True,
        text=True,
        check=True,
    )
    return run.stdout


def shown_blocks(text: str) -> list[tuple[str, str]]:
    """Each command whose output the README shows, with the output shown."""
    return [(block["command"], block["output"]) for block in SHOWN.finditer(text)]


def refreshed(text: str) -> str:
    """The README with each output as it is now."""

    def block(match: re.Match[str]) -> str:
        return match[0][: match.start("output") - match.start()] + printed_by(match["command"]) + "```"

    return SHOWN.sub(block, text)


if __name__ == "__main__":
    README.write_text(refreshed(README.read_text(encoding="utf-8")), encoding="utf-8")
