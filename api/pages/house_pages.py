"""Kilns and their health, the circuits' tree, people, costs, and what everybody sets for themselves."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from api import costs, feeds, studio_parts, team
from api.access import ManagerDep, PersonDep, ServiceDep, StaffDep
from api.pages.forms import Form, FormDep, TwoWaysError, field_number, read_number, two_ways
from api.pages.kiln_health import kiln_health
from api.pages.page import Page, go_to
from api.pages.page_route import PageRoute, told
from api.problems import ProblemError
from api.recorded_fits import fit_from_records
from api.security import Role
from api.storage.plan_store import current
from api.words import Words, tell
from scheduler.audit import AuditedPlan
from shared.clock import iso_minute, iso_text
from shared.errors import Fault, FolderError, KilnrotaError
from shared.kilns import Circuit
from shared.studio import Studio

router = APIRouter(include_in_schema=False, route_class=PageRoute)


@router.get("/more")
def more(request: Request, service: ServiceDep, who: PersonDep) -> HTMLResponse:
    """Everything that has no tab of its own."""
    return Page(request, service, who).answer("more.html")


@router.get("/kilns")
def kilns(request: Request, service: ServiceDep, who: StaffDep) -> HTMLResponse:
    """The kilns and their health."""
    return kilns_page(Page(request, service, who), [])


def kilns_page(page: Page, texts: list[str], kiln_id: str = "", form: Form | None = None) -> HTMLResponse:
    """The page of kilns, with what stood against a change; the form of ``kiln_id`` keeps what was said in it."""
    now = page.service.minute()
    with page.service.store.read() as session:
        holds = current(session)
        firings = () if holds is None else page.service.audited(session, holds.plan_id).plan.firings
        rows = [kiln_health(session, kiln, page.formats, now, firings) for kiln in page.studio.kilns]
    said = {name: "" if form is None else form(name) for name in ("begins", "ends", "reason")}
    return page.answer(
        "kilns.html",
        status=422 if texts else 200,
        rows=rows,
        texts=texts,
        refused=kiln_id if form else "",
        said_of=said,
    )


@router.post("/kilns/{kiln_id}/out")
def out_of_use(request: Request, service: ServiceDep, who: StaffDep, kiln_id: str, form: FormDep) -> Response:
    """Take a kiln out of use."""
    page = Page(request, service, who)
    try:
        zone = page.studio.place.zone
        begins = form.moment("begins", page.studio)
        ends = form.moment("ends", page.studio)
        if ends is not None and ends <= (begins or service.minute()):
            until, since = page.formats.clock(ends), page.formats.clock(begins or service.minute())
            problem = tell("refused.out_ends_before", ends=until, begins=since)
            raise FolderError([Fault("form", "to", problem, tell("refused.out_ends_do"))])
        body: dict[str, Any] = {"kiln": kiln_id, "from": iso_text(begins or service.minute(), zone)}
        if ends is not None:
            body["to"] = iso_text(ends, zone)
        if form("reason"):
            body["reason"] = form("reason")
        studio_parts.add(service, who, "outages", body)
    except KilnrotaError as error:
        labels = {"from": page.words("what_if.from"), "to": page.words("what_if.to"), "reason": page.words("kiln.why")}
        return kilns_page(page, told(error, labels), kiln_id, form)
    return go_to("/kilns", "done")


@router.post("/outages/{key}/end")
def back_in_use(service: ServiceDep, who: StaffDep, key: str, form: FormDep) -> Response:
    """Take an outage away: the kiln is in use again."""
    studio_parts.remove(service, who, "outages", key, form.whole("version"))
    return go_to("/kilns", "done")


@router.post("/kilns/{kiln_id}/fit")
def fit(request: Request, service: ServiceDep, who: ManagerDep, kiln_id: str, form: FormDep) -> Response:
    """Fit the kiln's model to what was recorded of it."""
    try:
        fit_from_records(service, who, kiln_id, form.whole("version"))
    except KilnrotaError as error:
        return kilns_page(Page(request, service, who), told(error))
    return go_to("/kilns", "done")


@router.get("/circuits")
def circuits(request: Request, service: ServiceDep, who: StaffDep) -> HTMLResponse:
    """The circuits as the tree that they are, with the plan's highest load on each leg."""
    page = Page(request, service, who)
    with service.store.read() as session:
        publication = current(session)
        audited = None if publication is None else service.audited(session, publication.plan_id)
    tree = branches(page.studio, None, audited, page)
    return page.answer("circuits.html", tree=tree, planned=audited is not None)


def branches(studio: Studio, above: str | None, audited: AuditedPlan | None, page: Page) -> list[dict[str, Any]]:
    """The circuits that one circuit feeds, each with what it feeds."""
    return [
        {
            "circuit": circuit,
            "legs": _legs(circuit, audited, page),
            "kilns": [kiln for kiln in studio.kilns if kiln.circuit == circuit.id],
            "below": branches(studio, circuit.id, audited, page),
        }
        for circuit in studio.circuits
        if circuit.fed_from == above
    ]


def _legs(circuit: Circuit, audited: AuditedPlan | None, page: Page) -> list[dict[str, Any]]:
    legs = []
    for leg in circuit.leg_names:
        peak = None if audited is None else audited.peaks.get((circuit.id, leg))
        amps = 0.0 if peak is None else peak.amps
        at = "" if peak is None or not amps or peak.at is None else page.formats.clock(peak.at)
        legs.append({"leg": leg, "amps": amps, "at": at, "share": min(1.0, amps / circuit.usable_amps)})
    return legs


@router.get("/people")
def people(request: Request, service: ServiceDep, who: ManagerDep) -> HTMLResponse:
    """Everybody, with their roles."""
    return people_page(Page(request, service, who), [], None)


def people_page(page: Page, texts: list[str], link: dict[str, Any] | None, form: Form | None = None) -> HTMLResponse:
    """The page of people, with a link just made, or with the form that was refused."""
    words = page.words
    roles = [
        ("member", words("people_page.member")),
        ("attendant", words("people_page.attendant")),
        ("manager", words("people_page.manager")),
    ]
    return page.answer(
        "people.html",
        status=422 if texts else 200,
        people=team.people(page.service),
        roles=roles,
        role_names=dict(roles),
        texts=texts,
        link=link,
        asked={name: "" if form is None else form(name) for name in ("name", "role", "takes_over")},
    )


@router.post("/people")
def add_person(request: Request, service: ServiceDep, who: ManagerDep, form: FormDep) -> Response:
    """Add somebody; the page shows their one-time link, this once."""
    page = Page(request, service, who)
    try:
        added = team.add_person(service, who, form("name"), _role(form), form("takes_over") or None)
    except KilnrotaError as error:
        return people_page(page, told(error), None, form)
    return people_page(page, [], added)


@router.post("/people/{person_id}")
def change_person(request: Request, service: ServiceDep, who: ManagerDep, person_id: int, form: FormDep) -> Response:
    """Change somebody's role, or whether they may sign in."""
    try:
        active = bool(form("active"))
        team.change_person(service, who, person_id, form.whole("version"), form("name"), _role(form), active)
    except KilnrotaError as error:
        return people_page(Page(request, service, who), told(error), None)
    return go_to("/people", "done")


@router.post("/people/{person_id}/invite")
def invite(request: Request, service: ServiceDep, who: ManagerDep, person_id: int) -> HTMLResponse:
    """A new one-time link for somebody; the page shows it this once."""
    made = team.invite_person(service, who, person_id)
    return people_page(Page(request, service, who), [], made)


def _role(form: Form) -> Role:
    try:
        role = Role(form("role"))
    except ValueError:
        role = Role.DISPLAY
    if role not in team.PERSON_ROLES:
        raise ProblemError(422, tell("refused.role_none_member"), name="faults")
    return role


@router.get("/costs")
def costs_by_person(request: Request, service: ServiceDep, who: PersonDep) -> HTMLResponse:
    """What each person's loads cost so far, by the house's rule."""
    return costs_page(Page(request, service, who), [])


def costs_page(page: Page, texts: list[str], form: Form | None = None) -> HTMLResponse:
    """The page of costs, with the form that was refused if one was."""
    if page.who is None:
        raise ProblemError(401, tell("refused.sign_in_first"), name="sign-in")
    rows = costs.costs(page.service, page.who, None, None)
    kept, decimal = costs.rule_of(page.service), page.words("number.decimal")
    shown = {name: field_number(value, decimal) for name, value in kept["rule"].items()}
    rule = kept | {"rule": shown if form is None else {name: form(name) for name in shown}}
    return page.answer("costs.html", status=422 if texts else 200, rows=rows, rule=rule, texts=texts)


@router.post("/costs")
def set_rule(request: Request, service: ServiceDep, who: ManagerDep, form: FormDep) -> Response:
    """Change the house's rule."""
    page = Page(request, service, who)
    labels = {
        "firing": page.words("costs.per_firing"),
        "litre": page.words("costs.per_litre"),
        "energy_factor": page.words("costs.energy_factor"),
        "energy_by_mass": page.words("costs.by_mass"),
    }
    new, faults = {}, []
    for name in labels:
        try:
            new[name] = read_number(form(name), form.decimal)
            if new[name] < 0 or (name == "energy_by_mass" and new[name] > 1):
                raise ValueError
        except TwoWaysError:
            faults.append(Fault("form", name, *two_ways(form(name))))
        except ValueError:
            share = name == "energy_by_mass"
            problem = tell("refused.no_share" if share else "refused.no_price", text=repr(form(name)))
            faults.append(Fault("form", name, problem, tell("refused.share_do" if share else "refused.price_do")))
    if faults:
        return costs_page(page, told(FolderError(faults), labels), form)
    costs.set_rule(service, who, form.whole("version"), new)
    return go_to("/costs", "done")


@router.get("/me")
def me(request: Request, service: ServiceDep, who: PersonDep) -> HTMLResponse:
    """One's own links, devices and password."""
    return me_page(Page(request, service, who), [], None)


def me_page(page: Page, texts: list[str], made: dict[str, Any] | None) -> HTMLResponse:
    """The page, with a link just made."""
    service, who = page.service, page.who
    if who is None:
        raise ProblemError(401, tell("refused.sign_in_first"), name="sign-in")
    kinds = {
        "person": page.words("me.feed_person"),
        "kiln": page.words("me.feed_kiln"),
        "staff": page.words("me.feed_staff"),
    }
    return page.answer(
        "me.html",
        status=422 if texts else 200,
        texts=texts,
        made=made,
        feeds=[row for row in feeds.listed(service, who) if row["revoked_at"] is None],
        kinds=kinds,
        kilns=[(kiln.id, kiln.title) for kiln in page.studio.kilns],
        sessions=[one | {"name": _device_text(one, page)} for one in team.sessions(service, who)],
        tokens=team.tokens(service, who),
    )


SYSTEMS = (
    ("iPad", "iPadOS"), ("iPhone", "iOS"), ("Android", "Android"), ("CrOS", "ChromeOS"), ("Windows", "Windows"),
    ("Mac OS", "macOS"), ("Linux", "Linux"),
)  # fmt: skip
"""What a browser calls the system that it runs on, and what people call it; the first that fits. From memory."""


def device_name(told: str, words: Words) -> str:
    """What a person calls the machine on which a browser of such a name runs: a phone, a tablet, a computer."""
    system = next((name for sign, name in SYSTEMS if sign in told), "")
    if not system:
        return words("me.program", name=told[:40]) if told else words("me.unknown")
    if system == "iPadOS" or "Tablet" in told or (system == "Android" and "Mobile" not in told):
        return words("me.tablet", system=system)
    return words("me.phone" if system in ("iOS", "Android") else "me.computer", system=system)


def _device_text(signed_in: Mapping[str, Any], page: Page) -> str:
    """Which machine it is, as far as its browser tells, and since when."""
    device = device_name(signed_in["device"], page.words)
    since = page.formats.clock(iso_minute(signed_in["created_at"]))
    return page.words("me.device", device=device, since=since)


@router.post("/me/feeds")
def add_feed(request: Request, service: ServiceDep, who: PersonDep, form: FormDep) -> Response:
    """Make a calendar link; the page shows its address this once."""
    page = Page(request, service, who)
    kind = form("kind") or "person"
    if kind not in ("person", "kiln", "staff"):
        raise ProblemError(422, tell("refused.calendar_person_kiln"), name="faults")
    try:
        made = feeds.add(service, who, kind, form("subject") if kind == "kiln" else "")
    except KilnrotaError as error:
        return me_page(page, told(error), None)
    return me_page(page, [], made)


@router.post("/me/feeds/{feed_id}/end")
def end_feed(service: ServiceDep, who: PersonDep, feed_id: int) -> Response:
    """End a calendar link."""
    feeds.revoke(service, who, feed_id)
    return go_to("/me", "done")


@router.post("/me/displays")
def add_display(request: Request, service: ServiceDep, who: ManagerDep, form: FormDep) -> HTMLResponse:
    """Make a link for a screen on the wall; the page shows it this once."""
    made = team.add_token(service, who, form("label") or "wall", True)
    return me_page(Page(request, service, who), [], made)


@router.post("/me/tokens/{token_id}/end")
def end_token(service: ServiceDep, who: PersonDep, token_id: int) -> Response:
    """End a token or a display's link."""
    team.revoke_token(service, who, token_id)
    return go_to("/me", "done")


@router.post("/me/sessions/{session_id}/end")
def end_session(service: ServiceDep, who: PersonDep, session_id: int) -> Response:
    """Sign a device out."""
    team.end_session(service, who, session_id)
    return go_to("/me", "done")


@router.post("/me/password")
def password(request: Request, service: ServiceDep, who: PersonDep, form: FormDep) -> Response:
    """Change one's own password."""
    try:
        team.change_password(service, who, form("old"), form("new"))
    except KilnrotaError as error:
        return me_page(Page(request, service, who), told(error), None)
    return go_to("/me", "done")
