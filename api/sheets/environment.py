"""The templates' environment: everything escaped, nothing undefined."""

from __future__ import annotations

import re
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, pass_context, select_autoescape
from jinja2.runtime import Context
from markupsafe import Markup

from api.sheets.lettering import begin_of
from api.words import Words
from shared.texts import Text


@cache
def template_environment() -> Environment:
    """The environment that all sheets, drawings and pages are rendered in; templates are compiled once."""
    environment = Environment(
        loader=PackageLoader("api", "templates"),
        autoescape=select_autoescape(["html", "svg"]),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_in_the_language,
    )
    environment.filters["css_text"] = css_text
    environment.globals.update(in_part=False, bullet="", drawn=_as_drawn, begin_of=begin_of)
    return environment


def _as_drawn(drawing: str, kind: str) -> str:
    """A drawing where a page shows it itself; in a part of a document it is a picture."""
    return drawing


@pass_context
def _in_the_language(context: Context, value: object) -> object:
    """What a template prints: a text that knows its key is said in the language of the template's words."""
    words = context.get("words")
    return words.say(value) if isinstance(value, Text) and isinstance(words, Words) else value


def css_text(text: str) -> Markup:
    r"""A text as a CSS string, every sign escaped that could end it.

    >>> print(css_text('K1 "x"'))
    "K1\20 \22 x\22 "
    """
    escaped = re.sub(r"[^A-Za-z0-9]", lambda sign: f"\\{ord(sign[0]):x} ", text)
    return Markup(f'"{escaped}"')
