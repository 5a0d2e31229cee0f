"""All routers of pages, for the application to include."""

from __future__ import annotations

from fastapi import APIRouter

from api.pages import (
    broke_pages,
    day_pages,
    door,
    firing_pages,
    house_pages,
    live,
    load_pages,
    plan_pages,
    sheet_pages,
    unnoted_pages,
    what_if_pages,
    why_pages,
)

PAGE_ROUTERS: tuple[tuple[APIRouter, str], ...] = tuple(
    (module.router, "")
    for module in (
        door,
        day_pages,
        live,
        firing_pages,
        load_pages,
        plan_pages,
        broke_pages,
        house_pages,
        sheet_pages,
        unnoted_pages,
        what_if_pages,
        why_pages,
    )
)
"""The routers, without a prefix: people read these addresses."""
