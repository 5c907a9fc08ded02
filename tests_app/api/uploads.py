"""Files of a test over HTTP: received, read, confirmed, set aside."""

from typing import Any

from django.core.files.uploadedfile import UploadedFile
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request

from equipment.api.components import WhyTaken
from equipment.api.documents import StrictDocumentParser
from equipment.api.marks import refuse_stale
from equipment.api.operations import Given, View, acts, caller
from equipment.api.shapes import Taken, with_example
from equipment.queries.access import Right
from tests_app.actions import channels, recordings, searching
from tests_app.api import records as read
from tests_app.api.record_shapes import RecordingShown
from tests_app.models import Record, Recording, RecordingKind, Step
from tests_app.queries import records


class FileTaken(Taken):
    """A recorder's file or the picture of a chart, as a form."""

    file = serializers.FileField(allow_empty_file=True, max_length=200)
    kind = serializers.ChoiceField(RecordingKind.choices, default=RecordingKind.SAMPLES)
    pressure_unit = serializers.CharField(
        max_length=20, required=False, allow_blank=True, default="", help_text="Where the file does not say it."
    )
    channel = serializers.CharField(
        max_length=120, required=False, allow_blank=True, default="", help_text="The column, where there are several."
    )


class ChannelTaken(Taken):
    """Which column of a file is the pressure."""

    channel = serializers.CharField(max_length=120)
    reason = serializers.CharField(max_length=200, required=False, allow_blank=True)


with_example(ChannelTaken, {"channel": "Test pressure, psi"})


class FilesOfRecord(read.Recordings):
    """The files of a whole test, and receiving one."""

    parser_classes = (MultiPartParser, StrictDocumentParser)

    @acts(
        RecordingShown,
        "Upload a file of a whole test",
        takes=FileTaken,
        upload=True,
        description="Its holds are searched and proposed for the steps without evidence.",
    )
    def post(self, request: Request, given: Given, pk: int) -> Recording:
        record = records.record_for(request.user, pk, needs=Right.RECORD)
        refuse_stale(request, record)
        return _received(self, record, None, given())


class FilesOfStep(View):
    """Receiving a file of one step."""

    parser_classes = (MultiPartParser, StrictDocumentParser)

    @acts(RecordingShown, "Upload a file of a step", takes=FileTaken, upload=True, description="The step is judged.")
    def post(self, request: Request, given: Given, pk: int) -> Recording:
        step = records.step_for(request.user, pk, needs=Right.RECORD)
        refuse_stale(request, step)
        return _received(self, step.record, step, given())


def _received(view: View, record: Record, step: Step | None, sent: dict[str, Any]) -> Recording:
    upload: UploadedFile = sent["file"]
    facts: dict[str, Any] = {
        "step": step,
        "file_name": upload.name or "file",
        "content": upload.read(),
        "content_type": upload.content_type or "application/octet-stream",
        "by": caller(view.request),
        "at": view.at,
    }
    if sent["kind"] == RecordingKind.CHART:
        kept = recordings.attach_chart(record, **facts)
    else:
        unit, channel = sent["pressure_unit"], sent["channel"]
        kept = recordings.attach_recording(record, pressure_unit=unit, channel=channel, **facts)
    return records.recording_for(view.request.user, kept.pk)


class Channel(View):
    """Which column of a file is the pressure."""

    @acts(RecordingShown, "Choose the column of a file", takes=ChannelTaken, description="It is judged by it.")
    def post(self, request: Request, given: Given, pk: int) -> Recording:
        recording = records.recording_for(request.user, pk, needs=Right.RECORD)
        channels.choose_channel(recording, **given(), by=caller(request), at=self.at)
        return records.recording_for(request.user, pk)


class Confirmation(View):
    """Saying that every hold proposed is the step's it was given to."""

    @acts(RecordingShown, "Confirm the holds proposed in a file")
    def post(self, request: Request, given: Given, pk: int) -> Recording:
        recording = records.recording_for(request.user, pk, needs=Right.RECORD)
        recordings.confirm_marks(recording, by=caller(request), at=self.at)
        return records.recording_for(request.user, pk)


class Search(View):
    """Searching a file of the whole test again."""

    @acts(RecordingShown, "Search a file again", description="For the steps that have no evidence.")
    def post(self, request: Request, given: Given, pk: int) -> Recording:
        recording = records.recording_for(request.user, pk, needs=Right.RECORD)
        searching.search_again(recording, by=caller(request), at=self.at)
        return records.recording_for(request.user, pk)


class Withdrawal(View):
    """Setting a file of a draft aside."""

    @acts(RecordingShown, "Set a file of a draft aside", takes=WhyTaken, description="It stays on file, marked.")
    def post(self, request: Request, given: Given, pk: int) -> Recording:
        recording = records.recording_for(request.user, pk, needs=Right.RECORD)
        recordings.withdraw_recording(recording, **given(), by=caller(request), at=self.at)
        return records.recording_for(request.user, pk)
