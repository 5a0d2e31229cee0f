"""What a fresh process would make the first reader wait for: the proof of the plan that holds, compiled templates.

Loading the compiled thermal model and proving the plan with it is most of it; then the templates. It is all done before
the service says that it is ready: in the background it would only take its time from the first readers.
"""

from __future__ import annotations

import time
from importlib.resources import files

from api.day import Day, day_of
from api.formats import Formats
from api.logs import LOGGER, log
from api.pages.day_cards import kiln_cards
from api.pages.day_states import Known
from api.pages.day_steps import day_rows, kilns_now
from api.pages.page import LANGUAGES, static_files
from api.service import Service
from api.sheets.environment import template_environment
from api.storage.plan_store import current
from api.words import read_words


def warm(service: Service) -> None:
    """Prepare what the first readers ask for; whatever fails here is told to them when they ask for it."""
    began = time.perf_counter()
    static_files()
    compile_templates()
    try:
        _prepare_day(service)
    except Exception:
        LOGGER.exception("the day could not be prepared")
    log("warm", ms=round(1000 * (time.perf_counter() - began)))


def compile_templates() -> None:
    """Compile every page's template."""
    environment = template_environment()
    for entry in files("api").joinpath("templates", "pages").iterdir():
        if entry.name.endswith(".html"):
            environment.get_template(f"pages/{entry.name}")


def _prepare_day(service: Service) -> None:
    """Prove the plan that holds, and look at its present day once in each language."""
    with service.store.read() as session:
        publication = current(session)
        if publication is None:
            return
        service.studio(session)
        audited = service.audited(session, publication.plan_id)
    now = service.minute()
    view = Day(audited, max(day_of(now, audited.studio), day_of(audited.plan.begin, audited.studio)))
    kilns = kilns_now(view, {}, now)
    for language in LANGUAGES:
        formats = Formats(audited.studio, read_words(language))
        kiln_cards(view, kilns, formats, {}, now, Known(view.studio, {}))
        day_rows(view, kilns, {}, formats)
