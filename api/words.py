"""The words that people read: one catalogue file a language, ready for translation.

Code and templates name a text by its key, ``words("plan.proved")``; what stands in braces is filled in. A catalogue
is a TOML file in ``api/catalogue``, named by its language.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

import tomli


class Words:
    """One language's texts.

    >>> words = Words({"fire": {"one": "{n} firing", "other": "{n} firings"}, "bye": "until {day}"})
    >>> words("bye", day="Monday"), words.count("fire", 1), words.count("fire", 3)
    ('until Monday', '1 firing', '3 firings')
    """

    def __init__(self, table: Mapping[str, Any]) -> None:
        self._texts = dict(_flat(table))

    def __call__(self, key: str, /, **values: object) -> str:
        """The text of ``key`` with ``values`` filled in."""
        return self._texts[key].format(**values) if values else self._texts[key]

    def __contains__(self, key: str) -> bool:
        return key in self._texts

    @property
    def keys(self) -> frozenset[str]:
        """The keys of all texts."""
        return frozenset(self._texts)

    def count(self, key: str, number: int, /, **values: object) -> str:
        """The text for ``number`` of something; the catalogue holds it for one and for any other number."""
        return self(f"{key}.one" if number == 1 else f"{key}.other", n=number, **values)

    def each(self, key: str) -> tuple[str, ...]:
        """The items of a list in the catalogue, which stand one a line."""
        return tuple(line.strip() for line in self._texts[key].strip().splitlines())


def _flat(table: Mapping[str, Any], prefix: str = "") -> list[tuple[str, str]]:
    found = []
    for name, value in table.items():
        key = f"{prefix}{name}"
        if isinstance(value, Mapping):
            found += _flat(value, f"{key}.")
        else:
            found.append((key, str(value)))
    return found


@cache
def read_words(language: str = "en") -> Words:
    """The catalogue of ``language``."""
    text = files("api").joinpath("catalogue", f"{language}.toml").read_text(encoding="utf-8")
    return Words(tomli.loads(text))
