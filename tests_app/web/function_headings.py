"""Opening a function test, with what is due of a stack ticked, and changing its heading while it is a draft."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from http import HTTPStatus
from typing import Any, Final

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from calcs.recurrence import State
from calcs.rotation import next_in_turn
from equipment.models import ControlItem, ControlKind, Rig, Stack
from equipment.queries import access, instruments, stacks, wells
from equipment.queries.access import Right
from equipment.queries.controls import controls_of
from tests_app.actions import function_tests
from tests_app.errors import NoRules
from tests_app.models import Record, What
from tests_app.queries.due_items import DueItem
from tests_app.queries.due_list import due_list
from tests_app.queries.function_subjects import FunctionSubject, control_copy, subjects_of
from tests_app.queries.function_verdicts import LOOKED_BACK
from tests_app.queries.functioned import Used, last_function_test, turn_key, used_before
from tests_app.queries.requirements import edition_of
from tests_app.web.due_words import STATE_KEYS, state_words
from tests_app.web.entry import Visit, signed_in
from tests_app.web.function_heading_form import QUANTITIES, FunctionHeadingForm, FunctionOffer, heading_as_it_stands
from tests_app.web.once import once
from tests_app.web.record_page import no_draft_page
from tests_app.web.refusals import attempt, status_of, take_over
from tests_app.web.rule_titles import rules_followed
from tests_app.web.story import story_of

_TEMPLATE: Final = "tests_app/function_heading.html"
_NOT_DUE: Final = (State.IN_DATE.value, State.OUT_OF_SERVICE.value, State.IN_PROGRESS.value)


@dataclass(frozen=True)
class Choosable:
    """One thing that can be worked, with how it stands on the due list."""

    subject: FunctionSubject
    ticked: bool
    state: str
    words: str


@require_http_methods(["GET", "POST"])
@signed_in
@once
def new_function_test(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Open a function test: with ``?key=`` of what one item asks, else of all that is due on the stack."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.RECORD)
    visit = Visit.of(request, rig)
    asked = request.GET.getlist("key")
    offers = list(stacks.stacks_of(rig))
    due = due_functions(rig, visit.at)
    stack = _chosen_stack(request, offers, asked, due)
    if stack is None:
        return visit.show(request, _TEMPLATE, {"stacks": offers, "no_rules": not rules_followed(rig)})
    offer = offer_for(visit, stack, due)
    data = request.POST if request.method == "POST" else None
    form = FunctionHeadingForm(data, offer=offer, initial=_proposed(visit, offer, asked))
    record = _opened(visit, form) if form.is_valid() else None
    if record is not None:
        messages.success(request, f"Test {record.number} is open. Enter what was seen of each line.")
        return redirect("tests_app:record", record.pk)
    return _show(request, visit, form, stacks=offers)


def _opened(visit: Visit, form: FunctionHeadingForm) -> Record | None:
    return attempt(
        form,
        lambda: function_tests.open_function_test(
            stack=form.offer.stack,
            section=form.cleaned_data["section"],
            heading=form.heading(),
            subjects=form.chosen_subjects(),
            worked_from=form.worked_from(),
            instruments=form.chosen_instruments(),
            by=visit.user,
            at=visit.at,
        ),
    )


def amend_heading(request: HttpRequest, visit: Visit, record: Record) -> HttpResponse:
    """Change the heading of a draft. A page older than the draft is answered 409, as typed."""
    data = request.POST if request.method == "POST" else None
    offer = offer_for(visit, record.stack, {})
    form = FunctionHeadingForm(data, offer=offer, record=record, initial=heading_as_it_stands(record))
    if form.is_valid() and _amended(visit, form, record) is not None:
        messages.success(request, "The heading is saved, and every line was judged again by it.")
        return redirect("tests_app:record", record.pk)
    if not record.is_draft:
        return no_draft_page(request, visit, record, form)
    return _show(request, visit, form, record=record)


def _amended(visit: Visit, form: FunctionHeadingForm, record: Record) -> Record | None:
    return attempt(
        form,
        lambda: function_tests.amend_function_heading(
            record,
            section=form.cleaned_data["section"],
            heading=form.heading(),
            instruments=form.chosen_instruments(),
            version=form.cleaned_data["version"] or 0,
            by=visit.user,
            at=visit.at,
        ),
    )


def offer_for(visit: Visit, stack: Stack, due: Mapping[str, DueItem]) -> FunctionOffer:
    """Return what a function test of a stack can be filled in with."""
    rig = visit.rig
    try:
        edition = edition_of(rig)
    except NoRules:
        edition = None
    subjects = subjects_of(stack, edition, at=visit.at)
    controls = controls_of(stack, at=visit.at)
    return FunctionOffer(
        rig=rig,
        stack=stack,
        subjects=subjects,
        due=due,
        controls=controls,
        sections=wells.sections_of(rig),
        instruments=[one for one in instruments.instruments_of(rig) if one.retired_on is None],
        units=visit.units,
        at=visit.at,
        last_from=_last_words(_last_used(stack, subjects, visit.at), controls),
    )


def due_functions(rig: Rig, at: datetime) -> dict[str, DueItem]:
    """Return how every function test of a rig stands, by the key of its obligation."""
    return {item.key: item for item in due_list(rig, at=at) if item.what == What.FUNCTION}


def _chosen_stack(
    request: HttpRequest, offered: Sequence[Stack], asked: Sequence[str], due: Mapping[str, DueItem]
) -> Stack | None:
    """Return the stack the address names, or the one what is asked for stands on; else the first."""
    wanted = request.GET.get("stack", "")
    found = next((one for one in offered if str(one.pk) == wanted), None)
    if found is not None or not asked:
        return found or (offered[0] if offered else None)
    stacks_asked = {due[key].stack for key in asked if key in due}
    return next((one for one in offered if one in stacks_asked), offered[0] if offered else None)


def _proposed(visit: Visit, offer: FunctionOffer, asked: Sequence[str]) -> dict[str, Any]:
    """Return what a new test is filled in with: what is due ticked, the station and pod whose turn it is."""
    used = _last_used(offer.stack, offer.subjects, visit.at)
    drilled = wells.section_drilled(visit.rig, at=visit.at)
    # A panel may lack some functions: the turn is between full stations, where there are any.
    full = [one for one in offer.stations if one.kind == ControlKind.STATION] or offer.stations
    return {
        **_as_last_time(offer.stack),
        "started_at": visit.at.astimezone(visit.rig.zone).replace(second=0, microsecond=0),
        "reason": "interval",
        "section": drilled.pk if drilled else "",
        "subjects": [one.key for one in offer.subjects if one.key in asked] or _due_keys(offer),
        "station": _turn(full, [one.station for one in used if one.station]),
        "pod": _turn(offer.pods, [one.pod for one in used if one.pod]),
    }


def _as_last_time(stack: Stack) -> dict[str, Any]:
    """Return what usually stays from one function test of a stack to the next."""
    earlier = last_function_test(stack)
    if earlier is None:
        return {}
    return {name: getattr(earlier.function_test, name) for name in (*QUANTITIES, "operator")}


def _due_keys(offer: FunctionOffer) -> list[str]:
    due = [one.key for one in offer.subjects if one.key in offer.due and offer.due[one.key].state not in _NOT_DUE]
    return due or [one.key for one in offer.subjects if one.recurs]


def _last_used(stack: Stack, subjects: Sequence[FunctionSubject], at: datetime) -> list[Used]:
    """Return the times something of the stack was worked, the latest first."""
    found = used_before(
        stack.pk,
        components={one.component.pk for one in subjects if one.component},
        control_items=set(),
        before=at,
        since=at - LOOKED_BACK,
    )
    return sorted((one for used in found.values() for one in used), key=lambda one: one.at, reverse=True)


def _turn(items: Sequence[ControlItem], used: Sequence[str]) -> int | str:
    by_key = {turn_key(control_copy(item)): item for item in items}
    key = next_in_turn(list(by_key), used)
    return by_key[key].pk if key is not None else ""


def _last_words(used: Sequence[Used], items: Sequence[ControlItem]) -> Mapping[str, str]:
    names = {turn_key(control_copy(item)): item.name for item in items}
    found: dict[str, str] = {}
    for name in ("station", "pod"):
        last = next((one for one in used if getattr(one, name)), None)
        if last is not None:
            called = names.get(getattr(last, name), getattr(last, name))
            found[name] = f"{called} in test {last.number}. Each line can name another."
    return found


def _show(
    request: HttpRequest,
    visit: Visit,
    form: FunctionHeadingForm,
    *,
    record: Record | None = None,
    stacks: Sequence[Stack] = (),
) -> HttpResponse:
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    context: dict[str, Any] = {
        "form": form,
        "record": record,
        "stack": form.offer.stack,
        "stacks": stacks,
        "rows": _rows(form, visit.at) if record is None else (),
        "no_rules": record is None and not rules_followed(visit.rig),
    }
    if record is not None and status == HTTPStatus.CONFLICT:
        context["changes_since"] = story_of(record, most=3)
        take_over(form, request.POST, record.version)
    return visit.show(request, _TEMPLATE, context, status=status)


def _rows(form: FunctionHeadingForm, at: datetime) -> list[Choosable]:
    ticked = form.ticked()
    return [_row(one, one.key in ticked, form.offer.due.get(one.key), at) for one in form.offer.subjects]


def _row(subject: FunctionSubject, ticked: bool, item: DueItem | None, at: datetime) -> Choosable:
    if item is None:
        return Choosable(subject, ticked, "", "No rule followed asks for it")
    return Choosable(subject, ticked, STATE_KEYS[item.state], state_words(item, at))
