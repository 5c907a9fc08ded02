"""The plans of line-ups of a rig as a list, and making a new one."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, Final

import django_filters
import django_tables2 as tables
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_http_methods

from accounts.templatetags.wellhold import state
from calcs.recurrence import State
from equipment.errors import Refused
from equipment.models import Stack
from equipment.queries import access, stacks
from equipment.queries.access import Right
from equipment.queries.pressure_systems import contents_of, pressure_system_of
from equipment.web.columns import ListTable, MomentColumn
from equipment.web.lists import listed
from tests_app.actions import line_up_plans
from tests_app.models import LineUpPlan, PlanState, TestReason
from tests_app.queries import line_up_plans as plans
from tests_app.queries.due_items import DueItem
from tests_app.queries.due_list import due_list
from tests_app.queries.line_up_needs import Askable, askable, circumstances_for
from tests_app.web.entry import Visit, signed_in
from tests_app.web.headings import offer_for
from tests_app.web.line_up_forms import TICKED_DUE, CircumstancesForm, WantedForm, due_by_position
from tests_app.web.once import once
from tests_app.web.refusals import attempt, status_of
from tests_app.web.rule_titles import rules_followed

STATES: Final = {
    PlanState.WAITING: "waiting",
    PlanState.WORKING: "in-progress",
    PlanState.READY: "signed",
    PlanState.FAILED: "unknown",
}
"""Key of the state mark of a plan."""


class PlanFilter(django_filters.FilterSet):
    """State, stack, reason, whether it searches for a leak."""

    state = django_filters.ChoiceFilter(label="State", choices=PlanState.choices, empty_label="Any")
    stack = django_filters.ModelChoiceFilter(label="Stack", queryset=Stack.objects.none(), empty_label="All")
    reason = django_filters.ChoiceFilter(label="Reason", choices=TestReason.choices, empty_label="Any")
    finds_leak = django_filters.ChoiceFilter(
        label="What for", choices=[(False, "A test"), (True, "Finding a leak")], empty_label="All"
    )
    number = django_filters.NumberFilter(label="Number")

    class Meta:
        model = LineUpPlan
        fields: list[str] = []

    def __init__(self, *args: Any, stacks: QuerySet[Stack], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.filters["stack"].queryset = stacks


class PlanTable(ListTable):
    """The plans of a rig."""

    number = tables.Column("Plan")
    state = tables.Column("State")
    stack = tables.Column("Stack", accessor="stack__name")
    reason = tables.Column("Reason")
    step_count = tables.Column("Steps", attrs={"th": {"class": "num"}, "td": {"class": "num"}})
    made_at = MomentColumn("Made")
    made_by = tables.Column("By", accessor="made_by__name_shown", orderable=False)
    record = tables.Column("Test", accessor="record__number", default="")

    class Meta:
        empty_text = "No plan matches. The first is made by Plan a test."

    def render_number(self, value: int, record: LineUpPlan) -> SafeString:
        what = "Leak search" if record.finds_leak else "Plan"
        return format_html('<a href="{}">{} {}</a>', reverse("tests_app:line-up", args=[record.pk]), what, value)

    def render_state(self, record: LineUpPlan) -> SafeString:
        return state(STATES[PlanState(record.state)], record.get_state_display())

    def render_reason(self, record: LineUpPlan) -> str:
        return str(record.get_reason_display())

    def render_record(self, value: int, record: LineUpPlan) -> SafeString:
        return format_html('<a href="{}">Test {}</a>', reverse("tests_app:record", args=[record.record_id]), value)

    def value_number(self, value: int) -> int:
        return value

    def value_state(self, record: LineUpPlan) -> str:
        return str(record.get_state_display())

    def value_record(self, value: int) -> int:
        return value


@require_GET
@signed_in
def show_list(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show the rig's plans, latest first."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    found = listed(
        request,
        plans.plans_visible(visit.user, rig),
        PlanTable,
        filter_class=PlanFilter,
        filter_options={"stacks": stacks.stacks_of(rig)},
        table_options={"zone": rig.zone, "units": visit.units},
        file_name=f"line-ups-{rig.pk}",
    )
    return found.export or visit.show(request, "tests_app/line_ups.html", found.context())


@dataclass(frozen=True)
class Asked:
    """What the plan of a test can be asked to prove, or why nothing can be."""

    askables: Sequence[Askable] = ()
    refusal: str = ""
    is_undrawn: bool = False


@require_http_methods(["GET", "POST"])
@signed_in
@once
def new_plan(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Choose for which test and what it has to prove; the plan is then worked out in the background."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.RECORD)
    visit = Visit.of(request, rig)
    sent = request.method == "POST"
    form = CircumstancesForm.read(request.POST if sent else request.GET, offer=offer_for(visit, rig))
    asked = _asked(form, visit) if form.is_valid() else Asked()
    due = due_by_position(due_list(rig, at=visit.at), form.cleaned_data["stack"]) if form.is_valid() else {}
    ticked = _ticked(request.GET.get("tick", ""), asked.askables, due)
    wanted = WantedForm(request.POST if sent else None, askables=asked.askables, due=due, ticked=ticked)
    plan = _made(visit, form, wanted) if sent and form.is_valid() and wanted.is_valid() else None
    if plan is not None:
        return redirect("tests_app:line-up", plan.pk)
    context = {"form": form, "wanted": wanted, "asked": asked, "no_rules": not rules_followed(rig)}
    context["address"] = _address(form)
    return visit.show(
        request, "tests_app/line_up_new.html", context, status=status_of(wanted) if sent else HTTPStatus.OK
    )


def _asked(form: CircumstancesForm, visit: Visit) -> Asked:
    given = form.cleaned_data
    drawn = pressure_system_of(given["stack"])
    if drawn is None:
        return Asked(is_undrawn=True)
    try:
        under = circumstances_for(**given, at=visit.at)
        return Asked(askable(contents_of(drawn, at=visit.at), under=under))
    except Refused as refused:
        return Asked(refusal=str(refused))


_CALM: Final = frozenset({State.IN_DATE.value, State.OUT_OF_SERVICE.value, State.IN_PROGRESS.value})


def _ticked(how: str, askables: Iterable[Askable], due: dict[int, DueItem]) -> list[str]:
    """Return the keys ticked at first: everything the rules ask for, or what of it is due."""
    asked = [one for one in askables if one.is_asked and not one.refusal]
    if how != TICKED_DUE:
        return [one.key for one in asked]
    calling = {pk for pk, item in due.items() if item.state not in _CALM}
    return [one.key for one in asked if one.standing.position.pk in calling]


def _made(visit: Visit, form: CircumstancesForm, wanted: WantedForm) -> LineUpPlan | None:
    given = form.cleaned_data
    return attempt(
        wanted,
        lambda: line_up_plans.make_plan(**given, wanted=wanted.cleaned_data["wanted"], by=visit.user, at=visit.at),
    )


def _address(form: CircumstancesForm) -> str:
    """Return what of the address states the circumstances, for the links that tick otherwise."""
    given = form.cleaned_data if form.is_valid() else {}
    keys = {name: getattr(value, "pk", value) or "" for name, value in given.items()}
    return "&".join(f"{name}={value}" for name, value in keys.items())
