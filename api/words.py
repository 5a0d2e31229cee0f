"""The words that people read: one catalogue file a language, ready for translation.

What the core says comes as a ``Text``, its key and values, and is said by ``words.say``: in English from the core's own
sentences, in another language from ``core_<language>.toml``.

Code and templates name a text by its key, ``words("plan.proved")``; what stands in braces is filled in. A catalogue
is a TOML file in ``api/catalogue``, named by its language.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, cached_property
from importlib.resources import files
from typing import Any

import tomli

from shared.texts import Language, Text, filled, said, sentences

_PLAIN = (str, int)
"""Types that are written alike in every language."""


class Words:
    """One language's texts.

    >>> words = Words({"fire": {"one": "{n} firing", "other": "{n} firings"}, "bye": "until {day}"})
    >>> words("bye", day="Monday"), words.count("fire", 1), words.count("fire", 3)
    ('until Monday', '1 firing', '3 firings')
    """

    def __init__(self, table: Mapping[str, Any], core: Mapping[str, str] | None = None) -> None:
        self._texts = dict(_flat(table))
        self._core = core or {}

    def __call__(self, key: str, /, **values: object) -> str:
        """The text of ``key`` with ``values`` filled in."""
        if not values:
            return self._texts[key]
        if all(type(value) in _PLAIN for value in values.values()):
            return self._texts[key].format(**values)
        return filled(self._texts[key], values, self.language)

    def say(self, text: str) -> str:
        """A text of the core, or one told by ``told``, in this language; any other text as it is."""
        return said(text, self.language)

    def told(self, key: str, /, **values: object) -> Text:
        """A text of this catalogue that knows its key and values."""
        return Text(self(key, **values), key, values)

    @cached_property
    def language(self) -> Language:
        """How this language fills values in."""
        return Language(
            weekdays=self.each("calendar.weekdays_short"),
            months=self.each("calendar.months_short"),
            decimal=self("number.decimal"),
            moment=self("number.moment"),
            short=self("number.short"),
            day=self("number.day"),
            both=self("list.last"),
            either=self("list.either"),
            template=self._template,
        )

    def _template(self, key: str) -> str:
        return self._core[key] if key in self._core else self._texts[key]

    @property
    def core(self) -> Mapping[str, str]:
        """The templates of the core's texts, by key."""
        return self._core

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
    core = sentences() if language == "en" else dict(_flat(_table(f"core_{language}")))
    return Words(_table(language), core)


def _table(name: str) -> dict[str, Any]:
    return tomli.loads(files("api").joinpath("catalogue", f"{name}.toml").read_text(encoding="utf-8"))


def tell(key: str, /, **values: object) -> Text:
    """A text of the catalogue that knows its key and values: English by itself, and sayable in each language."""
    return read_words().told(key, **values)


def rule_name(rule: str) -> str:
    """What a rule of the audit is called where people read it; a name that the catalogue does not know as it is."""
    key = f"rule.{rule}"
    return tell(key) if key in read_words() else rule
