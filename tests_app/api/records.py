"""Records over HTTP, as far as they are read: the list, one with its parts, its files and its certificate."""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request

from equipment.api.operations import View, lists, problems, reads, refuse_strange_query
from equipment.errors import NotYours
from equipment.queries import access, stacks
from tests_app.api.kept_files import as_file
from tests_app.api.record_shapes import (
    CertificateShown,
    DrawdownFunctionShown,
    FunctionLineShown,
    LineShown,
    PumpReadingShown,
    RechargeShown,
    RecordingShown,
    RecordListed,
    RecordShown,
    SignatureShown,
    StepShown,
)
from tests_app.models import (
    Certificate,
    DrawdownFunction,
    FunctionLine,
    Line,
    PumpReading,
    Recharge,
    Record,
    Recording,
    Signature,
    SigningRole,
    Step,
)
from tests_app.narrowing import RecordFilter
from tests_app.queries import records
from tests_app.queries.signatories import signatories_of


class SigningShown(serializers.Serializer):
    """Who has signed a record, and in which capacities it still needs a signature."""

    signed = SignatureShown(many=True)
    missing = serializers.ListField(
        child=serializers.ListField(child=serializers.ChoiceField(SigningRole.choices)),
        help_text="Of each signature still needed, the capacities in which it can be given; any one of them.",
    )


class Records(View):
    """The tests of a rig."""

    @lists(RecordListed, "List the tests of a rig", narrowed_by=RecordFilter, order=("-started_at", "-pk"))
    def get(self, request: Request, rig_pk: int) -> tuple[QuerySet[Record], dict[str, Any]]:
        rig = access.rig_for(request.user, rig_pk)
        return records.records_visible(request.user, rig), {"stacks": stacks.stacks_of(rig)}


class RecordByKey(View):
    """One test."""

    @reads(RecordShown, "Show a test", description="With its heading. Its ETag counts every change to any part of it.")
    def get(self, request: Request, pk: int) -> Record:
        return records.record_for(request.user, pk)


class Content(View):
    """What was signed."""

    @extend_schema(
        operation_id="show_the_signed_content",
        summary="Show the signed content of a test",
        description="Canonical JSON (RFC 8785), byte for byte as it was sealed: its SHA-256 is the record's.",
        responses={200: OpenApiTypes.OBJECT, **problems()},
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        refuse_strange_query(request, ())
        record = records.record_for(request.user, pk)
        if not record.content:
            raise NotYours("Nothing is signed yet.")
        return HttpResponse(record.content, content_type="application/json")


class Steps(View):
    """The steps of a pressure test."""

    @lists(StepShown, "List the steps of a test", order=("order", "pk"), description="With lines, verdicts and files.")
    def get(self, request: Request, pk: int) -> QuerySet[Step]:
        return records.steps_of(records.record_for(request.user, pk))


class StepByKey(View):
    """One step."""

    @reads(StepShown, "Show a step")
    def get(self, request: Request, pk: int) -> Step:
        return records.step_for(request.user, pk)


class LineByKey(View):
    """One element a step proves."""

    @reads(LineShown, "Show a line")
    def get(self, request: Request, pk: int) -> Line:
        return records.line_for(request.user, pk)


class Recordings(View):
    """The files of a test."""

    @lists(RecordingShown, "List the files of a test", description="Withdrawn ones with them.")
    def get(self, request: Request, pk: int) -> QuerySet[Recording]:
        return records.recordings_of(records.record_for(request.user, pk))


class RecordingByKey(View):
    """One file of a test."""

    @reads(RecordingShown, "Show a file of a test")
    def get(self, request: Request, pk: int) -> Recording:
        return records.recording_for(request.user, pk)


class RecordingFile(View):
    """The content of a file, as received."""

    @extend_schema(
        operation_id="download_a_file_of_a_test",
        summary="Download a file of a test",
        description="As received, under its SHA-256.",
        responses={(200, "application/octet-stream"): OpenApiTypes.BINARY, **problems()},
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        refuse_strange_query(request, ())
        recording = records.recording_for(request.user, pk)
        return as_file(recording.sha256, recording.file_name)


class Drawdown(View):
    """The functions of a drawdown test."""

    @lists(DrawdownFunctionShown, "List the functions of a drawdown test", order=("order", "pk"))
    def get(self, request: Request, pk: int) -> QuerySet[DrawdownFunction]:
        return records.record_for(request.user, pk).drawdown_functions.all()


class Recharges(View):
    """The timed chargings of a test."""

    @lists(RechargeShown, "List the timed chargings of a test", order=("order", "pk"))
    def get(self, request: Request, pk: int) -> QuerySet[Recharge]:
        return records.record_for(request.user, pk).recharges.all()


class Pumps(View):
    """What each pump did in a pump test."""

    @lists(PumpReadingShown, "List the pumps of a pump test")
    def get(self, request: Request, pk: int) -> QuerySet[PumpReading]:
        return records.record_for(request.user, pk).pump_readings.all()


class FunctionLines(View):
    """What was worked in a function test."""

    @lists(FunctionLineShown, "List the lines of a function test", order=("order", "pk"))
    def get(self, request: Request, pk: int) -> QuerySet[FunctionLine]:
        return records.record_for(request.user, pk).function_lines.all()


class Signing(View):
    """How the signing of a test stands."""

    @reads(SigningShown, "Show who signed a test")
    def get(self, request: Request, pk: int) -> dict[str, Any]:
        return signing_of(records.record_for(request.user, pk))


def signing_of(record: Record) -> dict[str, Any]:
    """Return who signed a record and in which capacities it still needs a signature."""
    signed: list[Signature] = list(record.signatures.all())
    return {"signed": signed, "missing": [one.capacities for one in signatories_of(record).open]}


class CertificateByRecord(View):
    """The certificate of a sealed test."""

    @reads(CertificateShown, "Show the certificate of a test", description="404 until it is made, after the last seal.")
    def get(self, request: Request, pk: int) -> Certificate:
        return records.certificate_for(request.user, pk)


class CertificateFile(View):
    """The certificate as a paper."""

    @extend_schema(
        operation_id="download_the_certificate_of_a_test",
        summary="Download the certificate of a test",
        responses={(200, "application/octet-stream"): OpenApiTypes.BINARY, **problems()},
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        refuse_strange_query(request, ())
        certificate = records.certificate_for(request.user, pk)
        return as_file(certificate.sha256, f"{certificate.number}.pdf")
