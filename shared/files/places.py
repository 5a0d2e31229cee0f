"""Where in studio.toml or profiles.toml something stands, as whoever wrote the file would say it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from shared.files.values import clipped
from shared.texts import say

_ONE = {"kilns": "kiln", "circuits": "circuit", "profiles": "profile", "sizes": "size", "segments": "segment",
        "bands": "band"}  # fmt: skip


def place_of(table: str, number: int, label: str = "", line: int | None = None) -> str:
    """One of several tables: by its id, else by its line, else by which one of them it is, counted from 1.

    >>> place_of("kilns", 2, "K3"), place_of("shifts", 0, line=8), place_of("closed", 0)
    ('kiln K3', '[[shifts]] at line 8', '[[closed]] 1')
    """
    if label:
        return f"{_ONE.get(table, table)} {clipped(label)}"
    return f"[[{table}]]{say('fault.at_line', line=line)}" if line is not None else f"[[{table}]] {number + 1}"


def item(key: str, number: int) -> str:
    """One item of a list, counted from 1.

    >>> item("segments", 0), item("days", 1)
    ('segment 1', 'days 2')
    """
    return f"{_ONE.get(key, key)} {number + 1}"


def steps(location: Sequence[int | str]) -> Iterator[str]:
    """The steps of a location inside a table: ``size 2``, ``segment 1``, ``rate``."""
    for at, part in enumerate(location):
        if isinstance(part, int):
            continue
        following = location[at + 1] if at + 1 < len(location) else None
        yield item(clipped(part), following) if isinstance(following, int) else clipped(part)
