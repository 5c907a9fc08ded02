"""Bringing a test to its end over HTTP, whatever was tested: concluded, signed, given up, corrected."""

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request

from equipment.api.authentication import PasswordThrottle, PersonThrottle
from equipment.api.components import WhyTaken
from equipment.api.marks import refuse_stale, require_seen
from equipment.api.operations import Given, View, acts, caller
from equipment.api.shapes import Taken, with_example
from equipment.queries.access import Right
from tests_app.actions.pressure_tests import conclude, discard_record
from tests_app.actions.signing import sign_record
from tests_app.actions.superseding import supersede_record
from tests_app.api import records as read
from tests_app.api.record_shapes import RecordShown
from tests_app.models import Record, SigningRole
from tests_app.queries import records


class ConclusionTaken(Taken):
    """When a test was over: the next deadline counts from then."""

    concluded_at = serializers.DateTimeField()


class SignatureTaken(Taken):
    """A signature: in which capacity, and the signer's own password again."""

    role = serializers.ChoiceField(SigningRole.choices)
    password = serializers.CharField(max_length=400, trim_whitespace=False, write_only=True)


with_example(ConclusionTaken, {"concluded_at": "2026-03-02T15:00:00Z"})
with_example(SignatureTaken, {"role": "supervisor", "password": "as at the sign-in"})


class Conclusion(View):
    """The end of a test."""

    @acts(RecordShown, "Conclude a test", takes=ConclusionTaken)
    def post(self, request: Request, given: Given, pk: int) -> Record:
        record = records.record_for(request.user, pk, needs=Right.RECORD)
        refuse_stale(request, record)
        conclude(record, **given(), by=caller(request), at=self.at)
        return records.record_for(request.user, pk)


class Signing(read.Signing):
    """Who signed a test, and signing it."""

    def get_throttles(self) -> list[Any]:
        """Let a password be tried no faster than a person types."""
        asked = PasswordThrottle if self.request.method == "POST" else PersonThrottle
        return [PersonThrottle(), asked()]

    @acts(
        read.SigningShown,
        "Sign a test",
        takes=SignatureTaken,
        seen=True,
        description="As it stood under the ETag sent. The first signature freezes it, the last one needed seals it.",
    )
    def post(self, request: Request, given: Given, pk: int) -> dict[str, Any]:
        record = records.record_for(request.user, pk, needs=Right.SIGN)
        require_seen(request, record)
        sign_record(record, **given(), version=record.version, by=caller(request), at=self.at)
        return read.signing_of(records.record_for(request.user, pk))


class Discard(View):
    """Giving up a draft."""

    @acts(RecordShown, "Discard a draft", takes=WhyTaken, description="It stays on file and counts for nothing.")
    def post(self, request: Request, given: Given, pk: int) -> Record:
        record = records.record_for(request.user, pk, needs=Right.RECORD)
        discard_record(record, **given(), by=caller(request), at=self.at)
        return records.record_for(request.user, pk)


class Correction(View):
    """Correcting a signed test."""

    @acts(
        RecordShown,
        "Correct a signed test",
        takes=WhyTaken,
        description="Opens a draft, a copy to be changed and signed anew; both stay on file.",
    )
    def post(self, request: Request, given: Given, pk: int) -> Record:
        record = records.record_for(request.user, pk, needs=Right.RECORD)
        draft = supersede_record(record, **given(), by=caller(request), at=self.at)
        return records.record_for(request.user, draft.pk)
