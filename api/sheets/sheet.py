"""A sheet before it is known whether it is a page of its own or a part of a document.

A page of HTML needs nothing else; a part is what a document of many sheets is put together from.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Mapping
from dataclasses import dataclass

from markupsafe import Markup

from api.sheets.environment import template_environment
from api.words import Words


@dataclass(frozen=True, slots=True)
class Sheet:
    """What a sheet's template is filled in with, and what is said of it where it is printed.

    ``style`` names its rules; ``kind`` is a class that they know; ``numbered`` sheets have a margin with their title
    and the page's number. ``likely_pages`` is how many pages it has where each firing that heats fits on one, as nearly
    all do.
    """

    template: str
    title: str
    words: Words
    values: Mapping[str, object]
    style: str = "sheet.css"
    kind: str = ""
    numbered: bool = True
    likely_pages: int = 1

    @property
    def language(self) -> str:
        """The language of its words, as HTML names it."""
        return self.words("language.code")

    def page(self) -> str:
        """A page of its own: HTML with its style in it."""
        return self._filled(self.template, layout="page.html", style=self.style, kind=self.kind, numbered=self.numbered)

    def body(self) -> Markup:
        """What stands on it, as a part of a document that is laid out for paper.

        Its drawings are pictures, whose parts no rule of the style is looked up for, and bullets are letters of their
        lines: either takes time otherwise, and neither is seen.
        """
        return Markup(self._filled(self.template, layout="sheet.html", in_part=True, bullet="• ", drawn=_picture))

    def rules(self) -> str:
        """The rules of its style."""
        return self._filled(self.style)

    def paper_rules(self, first: int, pages: int) -> str:
        """The rules of its paper for ``pages`` pages of a document, the first of which is number ``first``."""
        return self._filled("paper.css", in_part=True, first=first, pages=pages) if self.numbered else ""

    def _filled(self, template: str, **more: object) -> str:
        named = {"words": self.words, "title": self.title, **more}
        return template_environment().get_template(template).render(self.values, **named)


def _picture(drawing: str, kind: str) -> Markup:
    """A drawing as an image that is handed over in its own address."""
    data = b64encode(drawing.strip().encode()).decode()
    return Markup(template_environment().get_template("picture.html").render(kind=kind, data=data))
