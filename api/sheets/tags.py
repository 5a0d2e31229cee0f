"""Load tags to print and cut: whose, what, how many, and a QR code that opens the load's page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.formats import Formats
from api.sheets.sheet import Sheet
from shared.loads import Load

QUIET_MODULES = 4
"""Empty border of a QR code [modules]; ISO/IEC 18004 asks for four."""


@dataclass(frozen=True, slots=True)
class QrCode:
    """A QR code as the template draws it: strokes of width 1 on a square of ``size`` units."""

    size: int
    path: str


@dataclass(frozen=True, slots=True)
class Tag:
    """One tag."""

    id: str
    owner: str
    profile: str
    pieces: str
    family: str
    promised: str
    note: str
    code: QrCode


def qr_code(text: str) -> QrCode:
    """The QR code of a text (ISO/IEC 18004), with a quarter of it damaged still to be read, since tags get dirty.

    >>> qr_code("http://127.0.0.1:8000/loads/B01").size
    37
    """
    import segno

    matrix = segno.make_qr(text, error="q").matrix
    runs = []
    for y, row in enumerate(matrix):
        x = 0
        while x < len(row):
            length = 0
            while x + length < len(row) and row[x + length] & 1:
                length += 1
            if length:
                runs.append(f"M{x + QUIET_MODULES} {y + QUIET_MODULES}.5h{length}")
            x += max(1, length)
    return QrCode(len(matrix) + 2 * QUIET_MODULES, "".join(runs))


def tags_page(
    loads: Sequence[Load], formats: Formats, public_url: str, paper: str = "", following: str = "", back: str = ""
) -> str:
    """The tags of some loads as HTML."""
    return tags_sheet(loads, formats, public_url, paper, following, back).page()


def tags_sheet(
    loads: Sequence[Load], formats: Formats, public_url: str, paper: str = "", following: str = "", back: str = ""
) -> Sheet:
    """The tags of some loads, eight on a sheet of paper.

    ``following`` is the address of more, ``back`` that of the loads' page.
    """
    words = formats.words
    tags = []
    for load in loads:
        profile = formats.studio.profile_by_id.get(load.profile)
        promised = "" if load.promised is None else words("tags.promised", at=formats.clock(load.promised))
        tags.append(
            Tag(
                id=load.id,
                owner=load.owner,
                profile=load.profile if profile is None else profile.title,
                pieces=words.count("firing.pieces", load.pieces),
                family=load.family or "",
                promised=promised,
                note=load.note,
                code=qr_code(f"{public_url}/loads/{load.id}"),
            )
        )
    title = words("tags.title", studio=formats.studio.place.name)
    values = {"tags": tags, "paper": paper, "following": following, "back": back}
    return Sheet("tags.html", title, words, values, style="tags.css", numbered=False)
