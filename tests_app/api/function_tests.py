"""Function tests over HTTP: what can be worked, opening one, entering what was seen of each line."""

from collections.abc import Iterable
from dataclasses import fields
from typing import Any

from rest_framework import serializers
from rest_framework.request import Request

from equipment.api.marks import refuse_stale, require_seen
from equipment.api.operations import Given, View, acts, amends, caller, lists, removes
from equipment.api.shapes import Taken, taken, with_example
from equipment.errors import Refused
from equipment.models import Stack
from equipment.queries import access, controls, instruments, stacks, wells
from equipment.queries.access import Right
from tests_app.actions import function_lines, function_tests
from tests_app.actions.function_lines import LineFacts
from tests_app.actions.function_tests import FunctionHeading, WorkedFrom
from tests_app.api import records as read
from tests_app.api.named import all_found, as_taken, as_text, found, found_if, heading_now, key, of_kind
from tests_app.api.pressure_tests import named_of_heading
from tests_app.api.record_shapes import FunctionLineShown, RecordShown
from tests_app.models import FunctionLine, FunctionTest, Record, RecordKind, Worked
from tests_app.queries import records
from tests_app.queries.function_subjects import FunctionSubject, subjects_of
from tests_app.queries.requirements import edition_of

_HEADING = ("reason", "pipe_in_hole", "manifold_pressure", "annular_pressure", "operator")
_LINE = (
    *("worked", "closed_on", "pipe", "closing_time", "opening_time", "closing_volume", "opening_volume"),
    *("counter_before", "counter_between", "counter_after", "completed", "leak_seen", "leak_description", "remarks"),
)
_CONTROLS = ("station", "pod")
_OPENED = {"stack": 1, "started_at": "2026-03-02T12:00:00Z", "reason": "interval", "station": 4}


def _of_heading() -> dict[str, Any]:
    return {
        "started_at": serializers.DateTimeField(),
        "remarks": serializers.CharField(required=False, allow_blank=True, max_length=4000),
        "section": key(required=False, allow_null=True),
        "instruments": serializers.ListField(child=key(), required=False, max_length=20),
    }


FunctionTestTaken = taken(
    FunctionTest,
    *_HEADING,
    name="FunctionTestTaken",
    example=_OPENED,
    stack=key(),
    subjects=serializers.ListField(
        child=serializers.CharField(max_length=80),
        required=False,
        max_length=200,
        help_text="Keys of what is worked; all that the rules ask for without it.",
    ),
    station=key(required=False, allow_null=True),
    pod=key(required=False, allow_null=True),
    **_of_heading(),
)
FunctionHeadingTaken = taken(
    FunctionTest, *_HEADING, name="FunctionHeadingTaken", example={"operator": "Ben Marsh"}, **_of_heading()
)
FunctionLineTaken = taken(
    FunctionLine,
    *_LINE,
    name="FunctionLineTaken",
    id=key(),
    worked=serializers.ChoiceField(Worked.choices, required=False),
    station=key(required=False, allow_null=True),
    pod=key(required=False, allow_null=True),
)


class FunctionLinesTaken(Taken):
    """What was seen of the lines of a function test; what is not sent of a line stays."""

    lines = serializers.ListField(child=FunctionLineTaken(), max_length=200)


class SubjectTaken(Taken):
    """One more thing worked, and from where."""

    subject = serializers.CharField(max_length=80)
    station = key(required=False, allow_null=True)
    pod = key(required=False, allow_null=True)


class StatementsTaken(Taken):
    """Which of the statements the test calls for somebody confirms, and who."""

    confirmed = serializers.ListField(child=serializers.CharField(max_length=80), max_length=40)
    said_by = serializers.CharField(max_length=120, allow_blank=True)


class FunctionSubjectShown(serializers.Serializer):
    """One thing that can be function tested."""

    key = serializers.CharField()
    name = serializers.CharField()
    detail = serializers.CharField()
    recurs = serializers.BooleanField(help_text="A rule asks for it on an interval.")
    usual = serializers.CharField(help_text="How it is usually worked.")


with_example(FunctionLinesTaken, {"lines": [{"id": 9, "closing_time": "9.2 s", "completed": True}]})
with_example(SubjectTaken, {"subject": "function-test/installation-12", "station": 4})
with_example(StatementsTaken, {"confirmed": [], "said_by": ""})


class FunctionSubjects(View):
    """What can be function tested on a stack."""

    @lists(FunctionSubjectShown, "List what can be function tested on a stack", key=lambda one: one.key)
    def get(self, request: Request, pk: int) -> list[FunctionSubject]:
        stack = stacks.stack_for(request.user, pk)
        return subjects_of(stack, edition_of(stack.rig), at=self.at)


class FunctionTests(View):
    """Opening a function test."""

    @acts(RecordShown, "Open a function test", takes=FunctionTestTaken)
    def post(self, request: Request, given: Given, rig_pk: int) -> Record:
        access.rig_for(request.user, rig_pk, needs=Right.RECORD)
        user, sent = caller(request), given()
        stack = found("stack", sent.pop("stack"), lambda pk: stacks.stack_for(user, pk, needs=Right.RECORD))
        if stack.rig_id != rig_pk:
            raise Refused("stack", "This stack is on another rig.", "Give one of this rig.")
        used = sent.pop("instruments", [])
        record = function_tests.open_function_test(
            stack=stack,
            section=found_if("section", sent.pop("section", None), lambda pk: wells.section_for(user, pk)),
            subjects=_subjects(stack, sent.pop("subjects", None), sent["started_at"]),
            worked_from=_worked_from(request, sent),
            instruments=all_found("instruments", used, lambda pk: instruments.instrument_for(user, pk)),
            heading=FunctionHeading(**as_taken(sent)),
            by=user,
            at=self.at,
        )
        return records.record_for(user, record.pk)


def _subjects(stack: Stack, keys: Iterable[str] | None, at: Any) -> list[FunctionSubject]:
    offered = {one.key: one for one in subjects_of(stack, edition_of(stack.rig), at=at)}
    if keys is None:
        return [one for one in offered.values() if one.asked]
    strange = next((one for one in keys if one not in offered), None)
    if strange is not None:
        raise Refused("subjects", f"Nothing on this stack has the key {strange!r}.", "Take one of those listed.")
    return [offered[one] for one in dict.fromkeys(keys)]


def _worked_from(request: Request, sent: dict[str, Any]) -> WorkedFrom:
    """Take station and pod out of what was sent."""
    user = caller(request)
    named = {
        name: found_if(name, sent.pop(name, None), lambda pk: controls.control_for(user, pk)) for name in _CONTROLS
    }
    return WorkedFrom(**named)


def _function_test_for(request: Request, pk: int) -> Record:
    return of_kind(records.record_for(request.user, pk, needs=Right.RECORD), RecordKind.FUNCTION)


class Heading(View):
    """The heading of a function test."""

    @amends(RecordShown, "Amend the heading of a function test", takes=FunctionHeadingTaken)
    def patch(self, request: Request, given: Given, pk: int) -> Record:
        record = _function_test_for(request, pk)
        require_seen(request, record)
        sent = given()
        section, used = named_of_heading(request, record, sent)
        now = heading_now(FunctionHeading, record, record.function_test)
        function_tests.amend_function_heading(
            record,
            section=section,
            heading=FunctionHeading(**{**now, **as_taken(sent)}),
            instruments=used,
            version=record.version,
            by=caller(request),
            at=self.at,
        )
        return records.record_for(request.user, pk)


class Lines(read.FunctionLines):
    """The lines of a function test: adding one, and entering what was seen."""

    @acts(FunctionLineShown, "Add a line to a function test", takes=SubjectTaken)
    def post(self, request: Request, given: Given, pk: int) -> FunctionLine:
        record = _function_test_for(request, pk)
        refuse_stale(request, record)
        sent = given()
        (subject,) = _subjects(record.stack, [sent["subject"]], record.started_at)
        where = _worked_from(request, sent)
        line = function_tests.add_function_line(
            record, subject=subject, worked_from=where, by=caller(request), at=self.at
        )
        return records.function_line_for(request.user, line.pk)

    @amends(RecordShown, "Enter what was seen in a function test", takes=FunctionLinesTaken)
    def patch(self, request: Request, given: Given, pk: int) -> Record:
        record = _function_test_for(request, pk)
        require_seen(request, record)
        now = {line.pk: line for line in record.function_lines.select_related(*_CONTROLS)}
        facts = {one["id"]: _facts(request, one, now) for one in given().get("lines", [])}
        function_lines.write_function_lines(record, lines=facts, version=record.version, by=caller(request), at=self.at)
        return records.record_for(request.user, pk)


def _facts(request: Request, sent: dict[str, Any], now: dict[int, FunctionLine]) -> LineFacts:
    line = now.get(sent["id"])
    if line is None:
        raise Refused("lines", f"This test has no line {sent['id']}.", "Give the key of one of its lines.")
    user = caller(request)
    stands = {one.name: _as_it_stands(line, one.name) for one in fields(LineFacts)}
    told = {name: value for name, value in sent.items() if name not in ("id", *_CONTROLS)}
    completed = {"completed": told.pop("completed")} if "completed" in told else {}
    named = {
        name: found_if(name, sent[name], lambda pk: controls.control_for(user, pk))
        for name in _CONTROLS
        if name in sent
    }
    return LineFacts(**{**stands, **as_taken(told), **completed, **named})


def _as_it_stands(line: FunctionLine, name: str) -> Any:
    value = getattr(line, name)
    return value if name in ("completed", *_CONTROLS) else as_text(value)


class Statements(View):
    """What has to be confirmed before a function test is concluded."""

    @acts(RecordShown, "Confirm statements of a function test", takes=StatementsTaken)
    def post(self, request: Request, given: Given, pk: int) -> Record:
        record = _function_test_for(request, pk)
        refuse_stale(request, record)
        function_tests.confirm_statements(record, **given(), by=caller(request), at=self.at)
        return records.record_for(request.user, pk)


class LineAgain(View):
    """Working again what failed."""

    @acts(FunctionLineShown, "Work a failed line again")
    def post(self, request: Request, given: Given, pk: int) -> FunctionLine:
        line = records.function_line_for(request.user, pk, needs=Right.RECORD)
        again = function_tests.work_again(line, by=caller(request), at=self.at)
        return records.function_line_for(request.user, again.pk)


class LineByKey(View):
    """One line of a function test."""

    @removes("Remove a line of a function test")
    def delete(self, request: Request, pk: int) -> None:
        line = records.function_line_for(request.user, pk, needs=Right.RECORD)
        refuse_stale(request, line)
        function_tests.remove_function_line(line, by=caller(request), at=self.at)
