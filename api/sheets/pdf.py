"""Sheets as PDF. All are laid out together, as one document: what they have in common is read and worked out once."""

from __future__ import annotations

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from markupsafe import Markup

from api.sheets.environment import template_environment
from api.sheets.sheet import Sheet
from shared.errors import RequestError


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


def pdf_of_all(sheets: Sequence[Sheet]) -> bytes:
    """Several sheets of one style as one PDF; each begins on paper of its own.

    Raises
    ------
    RequestError
        If the library is not installed, or lacks the system's text libraries.
    """
    need_pdf()
    with _without_collecting():
        document, _ = _laid_out(sheets)
        made: bytes = document.write_pdf()
    return made


def pdf_of_each(sheets: Sequence[Sheet]) -> list[bytes]:
    """Several sheets of one style as a PDF each.

    Raises
    ------
    RequestError
        If the library is not installed, or lacks the system's text libraries.
    """
    need_pdf()
    made = []
    with _without_collecting():
        document, beginnings = _laid_out(sheets)
        ends = [*beginnings[1:], len(document.pages)]
        for sheet, begin, end in zip(sheets, beginnings, ends, strict=True):
            document.metadata.title = sheet.title
            made.append(document.copy(document.pages[begin:end]).write_pdf())
    return made


def _laid_out(sheets: Sequence[Sheet]) -> tuple[Any, list[int]]:
    """The document of all sheets, and at which of its pages each begins.

    How many pages a sheet has stands in its margins, and is known only when it is laid out. What stands there does not
    change the layout; so where another number was likely, doing it once more with the right one is enough.
    """
    bodies = [sheet.body() for sheet in sheets]
    counts = [sheet.likely_pages for sheet in sheets]
    document = _document(sheets, bodies, counts)
    at = {name: number for number, page in reversed(list(enumerate(document.pages))) for name in page.anchors}
    beginnings = [at[_name(number)] for number in range(len(sheets))]
    found = [end - begin for begin, end in zip(beginnings, [*beginnings[1:], len(document.pages)], strict=True)]
    if any(sheet.numbered and likely != pages for sheet, likely, pages in zip(sheets, counts, found, strict=True)):
        document = _document(sheets, bodies, found)
    return document, beginnings


def _document(sheets: Sequence[Sheet], bodies: Sequence[Markup], counts: Sequence[int]) -> Any:
    from weasyprint import CSS, HTML
    from weasyprint.text.fonts import FontConfiguration

    fonts = FontConfiguration()
    templates = template_environment()
    rules = [sheets[0].rules(), templates.get_template("pdf.css").render()]
    first = 1
    for sheet, pages in zip(sheets, counts, strict=True):
        rules.append(sheet.paper_rules(first, pages))
        first += pages
    html = templates.get_template("pdf.html").render(
        language=sheets[0].language,
        sheets=[(sheet.kind, _name(number), bodies[number]) for number, sheet in enumerate(sheets)],
    )
    style = CSS(string="\n".join(rules), media_type="print", font_config=fonts)
    document = HTML(string=html).render(font_config=fonts, stylesheets=[style])
    document.metadata.title = sheets[0].title
    return document


def _name(number: int) -> str:
    return f"sheet-{number}"


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
