"""Pressure tests over HTTP: opened, their steps added, held, judged and noted."""

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request

from equipment.api.marks import refuse_stale, require_seen
from equipment.api.operations import Given, View, acts, amends, caller, removes
from equipment.api.shapes import AmountTaken, Taken, taken, with_example
from equipment.models import Position
from equipment.queries import access, instruments, stacks, wells
from equipment.queries.access import Right
from tests_app.actions import pressure_tests, readings, recordings, steps
from tests_app.actions.pressure_tests import Heading
from tests_app.actions.readings import HoldReading
from tests_app.actions.steps import LineSpec
from tests_app.api import records as read
from tests_app.api.named import all_found, as_taken, found, found_if, heading_now, key, of_kind
from tests_app.api.record_shapes import LineShown, RecordShown, StepShown
from tests_app.models import Line, PressureFrom, PressureTest, Record, RecordKind, Step
from tests_app.queries import records

_HEADING = ("reason", "fluid", "barrier", "pipe_in_hole", "control_station", "pod", "pump_operator", "plan_reference")
_OPENED = {
    "stack": 1,
    "section": 1,
    "instruments": [1],
    "started_at": "2026-03-02T12:00:00Z",
    "reason": "interval",
    "fluid": "water",
    "barrier": "plug",
    "pipe_in_hole": "5 in",
}


def _of_heading() -> dict[str, Any]:
    return {
        "started_at": serializers.DateTimeField(),
        "remarks": serializers.CharField(required=False, allow_blank=True, max_length=4000),
        "section": key(required=False, allow_null=True),
        "instruments": serializers.ListField(child=key(), required=False, max_length=20),
    }


PressureTestTaken = taken(
    PressureTest, *_HEADING, name="PressureTestTaken", example=_OPENED, stack=key(), **_of_heading()
)
PressureHeadingTaken = taken(
    PressureTest, *_HEADING, name="PressureHeadingTaken", example={"plan_reference": "TP-12"}, **_of_heading()
)


class LineTaken(Taken):
    """An element a step proves; without a side, from the usual one."""

    position = key()
    pressure_from = serializers.ChoiceField(PressureFrom.choices, required=False, allow_blank=True)


class StepTaken(Taken):
    """A step: one line-up, held once low and once high."""

    name = serializers.CharField(max_length=80)
    pump_point = serializers.CharField(max_length=80, required=False, allow_blank=True, default="")
    lines = serializers.ListField(child=LineTaken(), max_length=60)
    remarks = serializers.CharField(max_length=2000, required=False, allow_blank=True)
    max_decay = AmountTaken(required=False, allow_null=True, help_text="Largest fall the plan allows in a hold.")


class HoldTaken(Taken):
    """One hold as read by eye; pressures with their unit."""

    start_at = serializers.DateTimeField()
    end_at = serializers.DateTimeField()
    start_pressure = AmountTaken()
    end_pressure = AmountTaken()
    highest_before = AmountTaken(required=False, allow_null=True)


class ReadingsTaken(Taken):
    """The holds of a step as read by eye, and why they are typed in."""

    low = HoldTaken(required=False, allow_null=True)
    high = HoldTaken()
    reason = serializers.CharField(max_length=200)


class MarksTaken(Taken):
    """Which stretch of a recording proves a step, in elapsed seconds."""

    recording = key()
    start_s = serializers.FloatField()
    end_s = serializers.FloatField()
    reason = serializers.CharField(max_length=200, required=False, allow_blank=True)


class NoteTaken(Taken):
    """What was seen of an element: a leak fails its line even where the pressure held."""

    leak_seen = serializers.BooleanField()
    leak_description = serializers.CharField(max_length=300, required=False, allow_blank=True)
    remarks = serializers.CharField(max_length=300, required=False, allow_blank=True)


with_example(StepTaken, {"name": "Annular on 5 in pipe", "pump_point": "Kill line", "lines": [{"position": 7}]})
with_example(
    ReadingsTaken,
    {
        "low": {
            "start_at": "2026-03-02T12:01:00Z",
            "end_at": "2026-03-02T12:06:00Z",
            "start_pressure": "300 psi",
            "end_pressure": "298 psi",
        },
        "high": {
            "start_at": "2026-03-02T12:08:00Z",
            "end_at": "2026-03-02T12:13:00Z",
            "start_pressure": "10080 psi",
            "end_pressure": "10040 psi",
        },
        "reason": "The recorder's clock had stopped.",
    },
)
with_example(MarksTaken, {"recording": 3, "start_s": 480.0, "end_s": 790.0, "reason": ""})
with_example(NoteTaken, {"leak_seen": True, "leak_description": "Weeping at the bonnet, a drop a minute."})


class PressureTests(View):
    """Opening a pressure test."""

    @acts(RecordShown, "Open a pressure test", takes=PressureTestTaken, description="Judged by the rig's own rules.")
    def post(self, request: Request, given: Given, rig_pk: int) -> Record:
        rig = access.rig_for(request.user, rig_pk, needs=Right.RECORD)
        sent = given()
        user = caller(request)
        record = pressure_tests.open_pressure_test(
            rig=rig,
            stack=found("stack", sent.pop("stack"), lambda pk: stacks.stack_for(user, pk)),
            section=found_if("section", sent.pop("section", None), lambda pk: wells.section_for(user, pk)),
            instruments=all_found(
                "instruments", sent.pop("instruments", []), lambda pk: instruments.instrument_for(user, pk)
            ),
            heading=Heading(**as_taken(sent)),
            by=user,
            at=self.at,
        )
        return records.record_for(user, record.pk)


class PressureHeading(View):
    """The heading of a pressure test."""

    @amends(RecordShown, "Amend the heading of a pressure test", takes=PressureHeadingTaken)
    def patch(self, request: Request, given: Given, pk: int) -> Record:
        user = caller(request)
        record = pressure_test_for(request, pk)
        require_seen(request, record)
        sent = given()
        section, used = named_of_heading(request, record, sent)
        now = heading_now(Heading, record, record.pressure_test)
        pressure_tests.amend_heading(
            record,
            section=section,
            heading=Heading(**{**now, **as_taken(sent)}),
            instruments=used,
            version=record.version,
            by=user,
            at=self.at,
        )
        return records.record_for(user, pk)


def pressure_test_for(request: Request, pk: int) -> Record:
    """Return a pressure test that the caller records; raises Refused where it is another kind of test."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    return of_kind(record, RecordKind.PRESSURE)


def named_of_heading(request: Request, record: Record, sent: dict[str, Any]) -> tuple[Any, list[Any]]:
    """Take section and instruments out of what was sent; what is not sent stays as it is."""
    user = caller(request)
    section = record.section
    if "section" in sent:
        section = found_if("section", sent.pop("section"), lambda pk: wells.section_for(user, pk))
    kept = [use.instrument_id for use in record.instrument_uses.all()]
    used = sent.pop("instruments", kept)
    return section, all_found("instruments", used, lambda pk: instruments.instrument_for(user, pk))


class Steps(read.Steps):
    """The steps of a pressure test, and adding one."""

    @acts(StepShown, "Add a step", takes=StepTaken, description="What it has to show is worked out with it.")
    def post(self, request: Request, given: Given, pk: int) -> Step:
        record = pressure_test_for(request, pk)
        refuse_stale(request, record)
        sent = given()
        lines = _lines(request, sent.pop("lines"))
        step = steps.add_step(record, **as_taken(sent), lines=lines, by=caller(request), at=self.at)
        return records.step_for(request.user, step.pk)


def _lines(request: Request, sent: list[dict[str, Any]]) -> list[LineSpec]:
    user = caller(request)

    def position(pk: int) -> Position:
        return stacks.position_for(user, pk)

    return [LineSpec(found("lines", one["position"], position), one.get("pressure_from", "")) for one in sent]


class StepByKey(read.StepByKey):
    """One step, changing it, and taking it out."""

    @amends(StepShown, "Amend a step", takes=StepTaken, description="A judged hold proves what it proved.")
    def patch(self, request: Request, given: Given, pk: int) -> Step:
        step = records.step_for(request.user, pk, needs=Right.RECORD)
        require_seen(request, step)
        sent = given()
        steps.amend_step(
            step,
            lines=_lines(request, sent.pop("lines")) if "lines" in sent else None,
            **{"name": step.name, "pump_point": step.pump_point, "remarks": step.remarks, **as_taken(sent)},
            version=step.record.version,
            by=caller(request),
            at=self.at,
        )
        return records.step_for(request.user, pk)

    @removes("Remove a step", description="One without evidence; those after it move up.")
    def delete(self, request: Request, pk: int) -> None:
        step = records.step_for(request.user, pk, needs=Right.RECORD)
        refuse_stale(request, step)
        steps.remove_step(step, by=caller(request), at=self.at)


class Retest(View):
    """Repeating a failed step."""

    @acts(StepShown, "Repeat a failed step", description="The failed one stays.")
    def post(self, request: Request, given: Given, pk: int) -> Step:
        step = records.step_for(request.user, pk, needs=Right.RECORD)
        again = steps.retest_step(step, by=caller(request), at=self.at)
        return records.step_for(request.user, again.pk)


class Readings(View):
    """The holds of a step as read by eye."""

    @acts(StepShown, "Enter readings of a step", takes=ReadingsTaken, description="Judged at once; replaces earlier.")
    def post(self, request: Request, given: Given, pk: int) -> Step:
        step = records.step_for(request.user, pk, needs=Right.RECORD)
        refuse_stale(request, step)
        sent = given()
        low, high = (HoldReading(**as_taken(sent[name])) if sent.get(name) else None for name in ("low", "high"))
        assert high is not None  # the document says so
        readings.type_readings(step, low=low, high=high, reason=sent["reason"], by=caller(request), at=self.at)
        return records.step_for(request.user, pk)


class Marks(View):
    """The stretch of a recording that proves a step."""

    @acts(StepShown, "Judge a step on part of a recording", takes=MarksTaken)
    def post(self, request: Request, given: Given, pk: int) -> Step:
        step = records.step_for(request.user, pk, needs=Right.RECORD)
        refuse_stale(request, step)
        sent = given()
        user = caller(request)
        recording = found("recording", sent.pop("recording"), lambda one: records.recording_for(user, one))
        recordings.choose_marks(step, recording=recording, **sent, by=user, at=self.at)
        return records.step_for(user, pk)


class LineByKey(read.LineByKey):
    """One element a step proves, and what was seen of it."""

    @amends(LineShown, "Note what was seen of an element", takes=NoteTaken)
    def patch(self, request: Request, given: Given, pk: int) -> Line:
        line = records.line_for(request.user, pk, needs=Right.RECORD)
        require_seen(request, line)
        now = {"leak_seen": line.leak_seen, "leak_description": line.leak_description, "remarks": line.remarks}
        steps.note_line(line, **{**now, **given()}, version=line.step.record.version, by=caller(request), at=self.at)
        return records.line_for(request.user, pk)
