"""Deferrals and postponed tests over HTTP."""

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request

from equipment.api.components import WhyTaken
from equipment.api.operations import Given, View, acts, caller, lists, reads
from equipment.api.shapes import Taken, shown, with_example
from equipment.queries import access
from equipment.queries.access import Right
from tests_app.actions import deferrals, postponements
from tests_app.api.owed import owed_by_key
from tests_app.models import Deferral, Postponement
from tests_app.queries import waiting

DeferralShown = shown(
    Deferral,
    *("id", "rig", "obligation_key", "subject", "edition", "clause", "original_due_at", "granted_at", "until"),
    *(
        "approved_by",
        "reference",
        "reason",
        "conditions",
        "entered_at",
        "entered_by",
        "withdrawn_at",
        "withdrawn_reason",
    ),
)
PostponementShown = shown(
    Postponement,
    *("id", "rig", "obligation_key", "subject", "made_at", "reason", "explanation", "then", "edition", "clause"),
    *("original_due_at", "entered_at", "entered_by", "called_at", "ended_at", "ended_reason"),
)


class DeferralTaken(Taken):
    """A deferral: of what, until when, who approved it and why."""

    key = serializers.CharField(max_length=80, help_text="Of the row of the due list.")
    granted_at = serializers.DateTimeField()
    until = serializers.DateTimeField()
    approved_by = serializers.CharField(max_length=120)
    reference = serializers.CharField(max_length=120)
    reason = serializers.CharField(max_length=2000)
    conditions = serializers.CharField(max_length=2000, required=False, allow_blank=True)


class PostponementTaken(Taken):
    """A test that is not safe to make now."""

    key = serializers.CharField(max_length=80, help_text="Of the row of the due list.")
    made_at = serializers.DateTimeField()
    reason = serializers.CharField(max_length=24, help_text="One the rig's rules accept.")
    explanation = serializers.CharField(max_length=2000)


class EndTaken(Taken):
    """When a postponement ended, and why."""

    ended_at = serializers.DateTimeField()
    reason = serializers.CharField(max_length=300)


class CallTaken(Taken):
    """When what calls for a postponed test came about."""

    called_at = serializers.DateTimeField()


with_example(
    DeferralTaken,
    {
        "key": "pressure-test/installation-12",
        "granted_at": "2026-03-02T12:00:00Z",
        "until": "2026-03-06T12:00:00Z",
        "approved_by": "District office",
        "reference": "DEP-118",
        "reason": "Running casing across the stack.",
    },
)


with_example(
    PostponementTaken,
    {
        "key": "pressure-test/installation-12",
        "made_at": "2026-03-02T12:00:00Z",
        "reason": "stuck-pipe",
        "explanation": "Pipe stuck with the string across the rams.",
    },
)
with_example(EndTaken, {"ended_at": "2026-03-03T12:00:00Z", "reason": "The pipe is free."})
with_example(CallTaken, {"called_at": "2026-03-03T12:00:00Z"})


class Deferrals(View):
    """The deferrals of a rig."""

    @lists(DeferralShown, "List the deferrals of a rig", order=("-granted_at", "-pk"))
    def get(self, request: Request, rig_pk: int) -> QuerySet[Deferral]:
        return waiting.deferrals_on(access.rig_for(request.user, rig_pk))

    @acts(DeferralShown, "Enter a deferral", takes=DeferralTaken)
    def post(self, request: Request, given: Given, rig_pk: int) -> Deferral:
        rig = access.rig_for(request.user, rig_pk, needs=Right.DEFER)
        sent = given()
        owed = owed_by_key(rig, sent.pop("key"))
        return deferrals.grant_deferral(owed, **sent, by=caller(request), at=self.at)


class DeferralByKey(View):
    """One deferral."""

    @reads(DeferralShown, "Show a deferral")
    def get(self, request: Request, pk: int) -> Deferral:
        return waiting.deferral_for(request.user, pk)


class DeferralWithdrawal(View):
    """Withdrawing a deferral."""

    @acts(DeferralShown, "Withdraw a deferral", takes=WhyTaken, description="The first date counts again, at once.")
    def post(self, request: Request, given: Given, pk: int) -> Deferral:
        deferral = waiting.deferral_for(request.user, pk, needs=Right.DEFER)
        return deferrals.withdraw_deferral(deferral, **given(), by=caller(request), at=self.at)


class Postponements(View):
    """The postponed tests of a rig."""

    @lists(PostponementShown, "List the postponed tests of a rig", order=("-made_at", "-pk"))
    def get(self, request: Request, rig_pk: int) -> QuerySet[Postponement]:
        return waiting.postponements_on(access.rig_for(request.user, rig_pk))

    @acts(PostponementShown, "Postpone a test", takes=PostponementTaken, description="Its date stays.")
    def post(self, request: Request, given: Given, rig_pk: int) -> Postponement:
        rig = access.rig_for(request.user, rig_pk, needs=Right.DEFER)
        sent = given()
        owed = owed_by_key(rig, sent.pop("key"))
        return postponements.postpone_test(owed, **sent, by=caller(request), at=self.at)


class PostponementByKey(View):
    """One postponed test."""

    @reads(PostponementShown, "Show a postponed test")
    def get(self, request: Request, pk: int) -> Postponement:
        return waiting.postponement_for(request.user, pk)


class PostponementEnd(View):
    """The end of a postponement."""

    @acts(PostponementShown, "End a postponement", takes=EndTaken)
    def post(self, request: Request, given: Given, pk: int) -> Postponement:
        postponement = waiting.postponement_for(request.user, pk, needs=Right.DEFER)
        return postponements.end_postponement(postponement, **given(), by=caller(request), at=self.at)


class PostponementCall(View):
    """What calls for a postponed test."""

    @acts(PostponementShown, "Call for a postponed test", takes=CallTaken, description="It is due at once from then.")
    def post(self, request: Request, given: Given, pk: int) -> Postponement:
        postponement = waiting.postponement_for(request.user, pk, needs=Right.DEFER)
        return postponements.call_for_test(postponement, **given(), by=caller(request), at=self.at)
