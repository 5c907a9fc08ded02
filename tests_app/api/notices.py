"""Notices over HTTP: what became due on a rig, and acknowledging it."""

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request

from equipment.api.operations import Given, View, acts, caller, lists, reads
from equipment.api.shapes import Taken, shown, with_example
from equipment.queries import access
from tests_app.actions.answering import acknowledge
from tests_app.models import Notice
from tests_app.narrowing import NoticeFilter
from tests_app.queries import alerts

NoticeShown = shown(
    Notice,
    *("id", "rig", "obligation_key", "what", "stage", "occasion", "hours_past", "due_at", "subject", "headline"),
    *("reason", "clause", "created_at", "acknowledged_at", "note", "escalated_at", "closed_at", "closed_because"),
    acknowledged_by=serializers.CharField(source="acknowledged_by.name_shown", allow_null=True, default=None),
)


class NoteTaken(Taken):
    """What is being done about a notice, and whether that goes for all of the same date."""

    note = serializers.CharField(max_length=2000)
    all_of_date = serializers.BooleanField(required=False, default=False)


with_example(NoteTaken, {"note": "Test planned for tonight's trip.", "all_of_date": True})


class Notices(View):
    """The notices of a rig."""

    @lists(NoticeShown, "List the notices of a rig", narrowed_by=NoticeFilter, order=("-created_at", "-pk"))
    def get(self, request: Request, rig_pk: int) -> QuerySet[Notice]:
        return alerts.notices_of(access.rig_for(request.user, rig_pk))


class NoticeByKey(View):
    """One notice."""

    @reads(NoticeShown, "Show a notice")
    def get(self, request: Request, pk: int) -> Notice:
        return alerts.notice_for(request.user, pk)


class Acknowledgement(View):
    """Acknowledging a notice."""

    @acts(NoticeShown, "Acknowledge a notice", takes=NoteTaken, description="Repeats end; what is due stays due.")
    def post(self, request: Request, given: Given, pk: int) -> Notice:
        notice = alerts.notice_for(request.user, pk, to_acknowledge=True)
        sent = given()
        also = alerts.same_date(notice) if sent["all_of_date"] else ()
        acknowledge(notice, note=sent["note"], also=also, by=caller(request), at=self.at)
        return alerts.notice_for(request.user, pk)
