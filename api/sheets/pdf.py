"""Sheets as PDF. All are laid out together, as one document: what they have in common is read and worked out once."""

from __future__ import annotations

import gc
import re
from base64 import b64encode
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from html import unescape
from typing import Any

from markupsafe import Markup

from api.sheets.environment import template_environment
from shared.errors import RequestError

_SHEET = re.compile(
    r'<html\slang="(?P<language>[^"]*)">.*?<title>(?P<title>.*?)</title>.*?<style>(?P<style>.*?)</style>'
    r'(?:\s*<style>(?P<paper>.*?)</style>)?.*?<body(?:\sclass="(?P<kind>\w+)")?>(?P<body>.*)</body>',
    re.DOTALL,
)
_DRAWING = re.compile(r"<svg(?P<attributes>[^>]*)>.*?</svg>", re.DOTALL)
_CLASS = re.compile(r' class="[^"]*"')
_ANCHORED = re.compile(
    r'<text x="(?P<x>[\d.]+)"(?P<before>[^>]*?) font-size="(?P<size>[\d.]+)"(?P<after>[^>]*?)'
    r' text-anchor="(?P<anchor>middle|end)">(?P<text>[\d:]+)<'
)
_LIST = re.compile(r'<ul\sclass="close">.*?</ul>', re.DOTALL)
_DIGIT, _COLON = 0.636, 0.337
"""Widths of the signs of times and temperatures in DejaVu Sans, shares of the letters' size [-]; from the font."""

_NUMBER = 'counter(page) "/" counter(pages)'
"""How a sheet's margin numbers its pages; in a document of many sheets the numbers are written out."""


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A sheet taken apart: the style it shares with others, what only its own paper and margins say, its content."""

    language: str
    title: str
    style: str
    paper: str
    kind: str
    body: str

    @classmethod
    def read(cls, page: str) -> _Sheet:
        """Take apart what our own templates wrote."""
        found = _SHEET.search(page)
        if found is None:
            raise ValueError("this is no sheet")
        parts = {name: part or "" for name, part in found.groupdict().items()}
        return cls(**{**parts, "title": unescape(parts["title"])})

    def likely_pages(self) -> int:
        """How many pages it will have, if each firing that heats begins a page and fits on it, as nearly all do."""
        return 1 + len(re.findall(r'<section\sclass="firing\sfull">', self.body.partition("</section>")[2]))

    def content(self) -> str:
        """Its content as part of a document.

        Drawings become pictures, whose parts no rule of the style is looked up for; bullets become part of their
        lines; line ends between elements go. All of it takes time, and none of it is seen.
        """
        body = re.sub(r">\s*\n\s*<", "><", _DRAWING.sub(_picture, self.body))
        return _LIST.sub(lambda found: found[0].replace("<li>", "<li>• "), body)

    def paper_rules(self, first: int, pages: int) -> str:
        """The rules of its paper for ``pages`` pages of a document, the first of which is number ``first``."""
        every, _, at_first = self.paper.partition("@page :first")
        rules = [
            every.replace("@page", f"@page :nth({first + number})").replace(_NUMBER, f'"{number + 1}/{pages}"')
            for number in range(pages)
        ]
        return "".join([*rules, f"@page :nth({first})", at_first] if at_first else rules)


def need_pdf() -> None:
    """Make sure that PDF can be made, before anything else is done for it.

    Raises
    ------
    RequestError
        If the library is not installed, or lacks the system's text libraries.
    """
    try:
        import weasyprint  # noqa: F401
    except (ImportError, OSError) as error:
        raise RequestError(
            f"PDF needs the extra 'pdf' and the system's Pango libraries ({type(error).__name__}); where Kilnrota was "
            "installed from, run pip install '.[pdf]', or print the pages from a browser"
        ) from None


def pdf_of_all(pages: Sequence[str]) -> bytes:
    """Several sheets, given as pages of HTML, as one PDF; each begins on paper of its own.

    Raises
    ------
    RequestError
        If the library is not installed, or lacks the system's text libraries.
    """
    need_pdf()
    with _without_collecting():
        document, _ = _laid_out([_Sheet.read(page) for page in pages])
        made: bytes = document.write_pdf()
    return made


def pdf_of_each(pages: Sequence[str]) -> list[bytes]:
    """Several sheets of one style, given as pages of HTML, as a PDF each.

    Raises
    ------
    RequestError
        If the library is not installed, or lacks the system's text libraries.
    """
    need_pdf()
    sheets, made = [_Sheet.read(page) for page in pages], []
    with _without_collecting():
        document, beginnings = _laid_out(sheets)
        ends = [*beginnings[1:], len(document.pages)]
        for sheet, begin, end in zip(sheets, beginnings, ends, strict=True):
            document.metadata.title = sheet.title
            made.append(document.copy(document.pages[begin:end]).write_pdf())
    return made


def _laid_out(sheets: Sequence[_Sheet]) -> tuple[Any, list[int]]:
    """The document of all sheets, and at which of its pages each begins.

    How many pages a sheet has stands in its margins, and is known only when it is laid out. What stands there does not
    change the layout; so where another number was likely, doing it once more with the right one is enough.
    """
    counts = [sheet.likely_pages() for sheet in sheets]
    document = _document(sheets, counts)
    at = {name: number for number, page in reversed(list(enumerate(document.pages))) for name in page.anchors}
    beginnings = [at[_name(number)] for number in range(len(sheets))]
    found = [end - begin for begin, end in zip(beginnings, [*beginnings[1:], len(document.pages)], strict=True)]
    if found != counts and any(sheet.paper for sheet in sheets):
        document = _document(sheets, found)
    return document, beginnings


def _document(sheets: Sequence[_Sheet], counts: Sequence[int]) -> Any:
    from weasyprint import CSS, HTML
    from weasyprint.text.fonts import FontConfiguration

    fonts = FontConfiguration()
    templates = template_environment()
    rules = [sheets[0].style.replace("svg", "img"), templates.get_template("pdf.css").render()]
    first = 1
    for sheet, pages in zip(sheets, counts, strict=True):
        rules.append(sheet.paper_rules(first, pages))
        first += pages
    html = templates.get_template("pdf.html").render(
        language=sheets[0].language,
        sheets=[(sheet.kind, _name(number), Markup(sheet.content())) for number, sheet in enumerate(sheets)],
    )
    style = CSS(string="\n".join(rules), media_type="print", font_config=fonts)
    document = HTML(string=html).render(font_config=fonts, stylesheets=[style])
    document.metadata.title = sheets[0].title
    return document


def _name(number: int) -> str:
    return f"sheet-{number}"


def _picture(drawing: re.Match[str]) -> str:
    """A drawing as an image of its own; the style's rules for ``svg`` are made to mean it by `_document`."""
    text = _ANCHORED.sub(_placed, drawing[0])
    text = text.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
    named = _CLASS.search(drawing["attributes"])
    data = b64encode(text.encode()).decode()
    return f'<img{named[0] if named else ""} src="data:image/svg+xml;base64,{data}">'


def _placed(found: re.Match[str]) -> str:
    """A number of a scale begun where it begins, not anchored: every anchored text is made a form of its own."""
    width = float(found["size"]) * sum(_COLON if sign == ":" else _DIGIT for sign in found["text"])
    x = float(found["x"]) - (width / 2 if found["anchor"] == "middle" else width)
    return f'<text x="{x:.2f}"{found["before"]} font-size="{found["size"]}"{found["after"]}>{found["text"]}<'


@contextmanager
def _without_collecting() -> Iterator[None]:
    """All that is laid out lives until the end; looking through it for garbage over and over takes a sixth longer."""
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.enable()
