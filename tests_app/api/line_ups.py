"""Plans of line-ups over HTTP: asked for, and read with their steps once a worker has them."""

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request

from equipment.api.operations import Given, View, acts, caller, lists, reads
from equipment.api.shapes import Taken, shown, with_example
from equipment.queries import stacks, wells
from equipment.queries.access import Right
from tests_app.actions import line_up_plans
from tests_app.api.named import found_if, key
from tests_app.models import Barrier, LineUpPlan, LineUpStep, TestReason
from tests_app.queries import line_up_plans as plans

PlanShown = shown(
    LineUpPlan,
    *("id", "rig", "number", "stack", "section", "reason", "barrier", "edition", "finds_leak", "failed_step", "state"),
    *("failure", "lower_bound", "because", "version", "made_at", "made_by", "worked_at", "record"),
)
LineUpShown = shown(
    LineUpStep,
    *("id", "plan", "order", "pump_point", "pipe", "pressure", "is_pinned", "by_hand", "opened_as"),
    closed=serializers.ListField(child=serializers.CharField(), help_text="Every other element is open."),
)


class PlanTaken(Taken):
    """For which test a plan is asked, and what it has to prove."""

    section = key(required=False, allow_null=True, help_text="Without one the test is made on the stump.")
    reason = serializers.ChoiceField(TestReason.choices)
    barrier = serializers.ChoiceField(Barrier.choices)
    wanted = serializers.ListField(
        child=serializers.CharField(max_length=40),
        min_length=1,
        max_length=300,
        help_text="Position and side of each: `12:below`, `15:well-side`.",
    )


with_example(PlanTaken, {"section": 3, "reason": "interval", "barrier": "plug", "wanted": ["12:below"]})


class PlansOfStack(View):
    """The plans of line-ups of a stack."""

    @lists(PlanShown, "List the line-up plans of a stack", order=("-made_at", "-pk"))
    def get(self, request: Request, pk: int) -> QuerySet[LineUpPlan]:
        return plans.plans_of_stack(stacks.stack_for(request.user, pk))

    @acts(PlanShown, "Ask for a line-up plan", takes=PlanTaken, description="A worker then works it out.")
    def post(self, request: Request, given: Given, pk: int) -> LineUpPlan:
        stack = stacks.stack_for(request.user, pk, needs=Right.RECORD)
        sent = given()
        section = found_if("section", sent.pop("section", None), lambda pk: wells.section_for(request.user, pk))
        return line_up_plans.make_plan(stack, section=section, **sent, by=caller(request), at=self.at)


class PlanByKey(View):
    """One plan of line-ups."""

    @reads(PlanShown, "Show a line-up plan")
    def get(self, request: Request, pk: int) -> LineUpPlan:
        return plans.plan_for(request.user, pk)


class LineUps(View):
    """The line-ups of a plan."""

    @lists(LineUpShown, "List the line-ups of a plan", order=("order", "pk"))
    def get(self, request: Request, pk: int) -> QuerySet[LineUpStep]:
        return plans.line_ups_of(plans.plan_for(request.user, pk))
