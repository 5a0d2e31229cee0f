"""When a new load could be out, and what each earlier day costs others: text for the terminal."""

from __future__ import annotations

from api.formats import Formats
from api.printing.columns import paragraph
from scheduler.planning.promise import Offer, Promise


def promise_text(found: Promise, formats: Formats) -> str:
    """The offer, and the earlier days."""
    words = formats.words
    if found.offer is None and not found.earlier:
        return words("promise.none", load=found.load, why=found.why) + "\n"
    lines = []
    if found.offer is None:
        lines += paragraph(words("promise.none_free", load=found.load))
    else:
        lines += paragraph(words("promise.offer", load=found.load, **_values(found.offer, formats)))
    for offer in found.earlier:
        text = words("promise.earlier", price=formats.money(offer.price), **_values(offer, formats))
        lines += paragraph(text, indent=2, hanging=2)
    if not found.earlier:
        lines += paragraph(words("promise.no_earlier"), indent=2, hanging=2)
    return "\n".join(lines) + "\n"


def _values(offer: Offer, formats: Formats) -> dict[str, str]:
    words = formats.words
    mates = words("promise.with", loads=", ".join(offer.shares_with)) if offer.shares_with else words("promise.alone")
    return {"at": formats.clock(offer.out_at), "kiln": offer.kiln, "mates": mates}
