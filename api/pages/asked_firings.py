"""The firings that have begun by the plan and that nobody has noted, as a page names them."""

from __future__ import annotations

from api.pages.page import Page
from api.unnoted import unnoted_firings


def asked_firings(page: Page) -> list[tuple[str, str]]:
    """The firings to ask about, each with what the plan says of it."""
    now = page.service.minute()
    with page.service.store.read() as session:
        found = unnoted_firings(page.service, session, now)
    profiles = page.studio.profile_by_id
    rows = []
    for firing in found:
        key = "unnoted.was_out" if firing.out_at <= now else "unnoted.is_in"
        at = firing.out_at if firing.out_at <= now else firing.load_at
        title = profiles[firing.profile].title if firing.profile in profiles else firing.profile
        rows.append(
            (
                firing.id,
                page.words(
                    key,
                    firing=firing.id,
                    kiln=firing.kiln,
                    profile=title,
                    loads=", ".join(firing.loads),
                    at=page.formats.clock(at),
                ),
            )
        )
    return rows
