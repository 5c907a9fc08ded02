"""Work done over HTTP: drills, inspections, overhauls and whatever else renews a date without a test of its own."""

from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request

from calcs.units import Dimension
from equipment.api.components import WhyTaken
from equipment.api.documents import StrictDocumentParser
from equipment.api.operations import Given, View, acts, caller, lists, problems, reads, refuse_strange_query
from equipment.api.shapes import AmountTaken, Taken, shown, with_example
from equipment.errors import NotYours, Refused
from equipment.models import Measured
from equipment.queries import access
from equipment.queries.access import Right
from tests_app.actions import work as actions
from tests_app.actions.renewals import Received
from tests_app.actions.work import Pressed
from tests_app.api.kept_files import as_file
from tests_app.api.owed import owed_by_key
from tests_app.models import Completion
from tests_app.narrowing import WorkFilter
from tests_app.queries import completed
from tests_app.queries.owed import is_entered_as_work

WorkShown = shown(
    Completion,
    *("id", "rig", "what", "obligation_key", "subject", "stack", "component", "control_item", "instrument"),
    *("elastomer", "document", "section", "edition", "rule_id", "clause", "started_at", "concluded_at", "passed"),
    *("done_by", "findings", "held_minutes", "evidence_name", "evidence_sha256", "evidence_size", "entered_at"),
    *("entered_by", "withdrawn_at", "withdrawn_reason"),
    name="Work",
)


class WorkTaken(Taken):
    """Work done: what it renews, when, by whom, how it went; with its file as a form where a paper is asked for."""

    key = serializers.CharField(max_length=80, help_text="Of the row of the due list it renews.")
    started_at = serializers.DateTimeField()
    concluded_at = serializers.DateTimeField()
    passed = serializers.BooleanField()
    done_by = serializers.CharField(max_length=150, help_text="Who did it, with their company.")
    findings = serializers.CharField(max_length=4000, required=False, allow_blank=True)
    evidence = serializers.FileField(required=False, allow_empty_file=True, max_length=200)
    same_file_meant = serializers.BooleanField(required=False, default=False)
    reached = AmountTaken(required=False, help_text="Pressure when the hold began.")
    left = AmountTaken(required=False, help_text="Pressure when it was over.")
    minutes = serializers.DecimalField(max_digits=7, decimal_places=2, required=False, min_value=0)


with_example(
    WorkTaken,
    {
        "key": "drill/rig",
        "started_at": "2026-03-02T12:00:00Z",
        "concluded_at": "2026-03-02T12:20:00Z",
        "passed": True,
        "done_by": "Day crew",
        "findings": "Shut in within two minutes.",
    },
)


class Work(View):
    """The work done on a rig."""

    parser_classes = (StrictDocumentParser, MultiPartParser)

    @lists(WorkShown, "List the work done on a rig", narrowed_by=WorkFilter, order=("-concluded_at", "-pk"))
    def get(self, request: Request, rig_pk: int) -> QuerySet[Completion]:
        return completed.completions_visible(access.rig_for(request.user, rig_pk))

    @acts(WorkShown, "Enter work done", takes=WorkTaken, upload=True)
    def post(self, request: Request, given: Given, rig_pk: int) -> Completion:
        rig = access.rig_for(request.user, rig_pk, needs=Right.WORK)
        sent = given()
        owed = owed_by_key(rig, sent.pop("key"))
        if not is_entered_as_work(owed):
            raise Refused("key", "This is recorded as a test of its own.", "Open that test.")
        upload: UploadedFile | None = sent.pop("evidence", None)
        evidence = Received(upload.name or "file", upload.read()) if upload is not None else None
        pressed = _pressed(sent)
        return actions.record_work(owed, **sent, evidence=evidence, pressed=pressed, by=caller(request), at=self.at)


def _pressed(given: dict[str, Any]) -> Pressed | None:
    parts = {name: given.pop(name) for name in ("reached", "left", "minutes") if name in given}
    if not parts:
        return None
    missing = next((name for name in ("reached", "left", "minutes") if name not in parts), "")
    if missing:
        raise Refused(missing, "This is missing.", "Give reached, left and minutes together.")
    reached, left = (Measured.of(parts[name], Dimension.PRESSURE, field=name) for name in ("reached", "left"))
    return Pressed(reached, left, parts["minutes"])


class WorkByKey(View):
    """One entry of work done."""

    @reads(WorkShown, "Show work done")
    def get(self, request: Request, pk: int) -> Completion:
        return completed.completion_for(request.user, pk)


class WorkEvidence(View):
    """The paper of work done."""

    @extend_schema(
        operation_id="download_the_evidence_of_work_done",
        summary="Download the evidence of work done",
        responses={(200, "application/octet-stream"): OpenApiTypes.BINARY, **problems(409)},
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        refuse_strange_query(request, ())
        entry = completed.completion_for(request.user, pk)
        if not entry.evidence_sha256:
            raise NotYours("Nothing is attached.")
        return as_file(entry.evidence_sha256, entry.evidence_name)


class WorkWithdrawal(View):
    """Withdrawing an entry made in error."""

    @acts(WorkShown, "Withdraw work entered in error", takes=WhyTaken, description="The row stays on file.")
    def post(self, request: Request, given: Given, pk: int) -> Completion:
        entry = completed.completion_for(request.user, pk, needs=Right.WORK)
        return actions.withdraw_work(entry, **given(), by=caller(request), at=self.at)
