"""Drafts follow what they rest on: a section or a component amended changes what their steps must show."""

from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from calcs.errors import InputError
from equipment import files
from equipment.errors import Refused
from equipment.models import Component, HoleSection
from tests_app.actions.drafts import hold_draft
from tests_app.actions.drawdown_functions import require_functions
from tests_app.actions.judging import require_all
from tests_app.actions.judging_by_kind import judge_record
from tests_app.models import DrawdownFunction, Line, Record, RecordKind
from trail import entries
from trail.actors import Actor


@transaction.atomic
def rework_drafts(row: Component | HoleSection, *, by: Actor, at: datetime) -> list[Record]:
    """Work out anew what every draft that rests on the row must show, and judge it again; returns those that changed.

    Signed records stay as they are. Raises Refused naming the draft that can't be worked out with the row as it
    stands now, so that no draft is left with figures of before.
    """
    drafts = Record.objects.filter(_rests_on(row), frozen_at=None, discarded_at=None)
    keys = sorted(set(drafts.values_list("pk", flat=True)))
    held = (hold_draft(record) for record in Record.objects.filter(pk__in=keys).order_by("pk"))
    return [record for record in held if _reworked(record, row, by=by, at=at)]


def _rests_on(row: Component | HoleSection) -> Q:
    if isinstance(row, HoleSection):
        return Q(section=row.pk, kind__in=(RecordKind.PRESSURE, RecordKind.DRAWDOWN))
    worked = Q(function_lines__component=row.pk)
    return Q(steps__lines__component=row.pk) | Q(drawdown_functions__component=row.pk) | worked


def _reworked(record: Record, row: Component | HoleSection, *, by: Actor, at: datetime) -> bool:
    before = _asked(record)
    try:
        if record.kind == RecordKind.DRAWDOWN:
            require_functions(record)
        elif record.kind == RecordKind.FUNCTION:
            judge_record(record)
        else:
            require_all(record)
        was, became = entries.changes(before, _asked(record))
        if not became:
            return False
        judge_record(record)
    except (Refused, InputError, files.FileMissing, files.FileAltered) as error:
        raise Refused(
            "", f"{record} is a draft that rests on this: {error}", "Put that right there, or discard the draft first."
        ) from error
    record.version += 1
    record.save(update_fields=["version"])
    entries.write(
        "record.requirements-followed",
        record,
        by=by,
        at=at,
        rig_number=record.rig_id,
        before=was,
        after=became,
        reason=f"{row} was amended.",
    )
    return True


def _asked(record: Record) -> dict[str, Any]:
    """Return what the record's lines or functions must show and whom they name, as the trail keeps it."""
    if record.kind == RecordKind.DRAWDOWN:
        functions = record.drawdown_functions.order_by("order")
        return {str(one): {"volume": str(one.volume), **_asked_of(one)} for one in functions}
    if record.kind == RecordKind.FUNCTION:
        worked = record.function_lines.order_by("order")
        return {f"{one.order}. {one}": {"component": one.subject_as_tested, "verdict": one.verdict} for one in worked}
    lines = Line.objects.filter(step__record=record).select_related("position", "step").order_by("step__order", "pk")
    return {f"{line.step.order}. {line.position.name}": _words(line) for line in lines}


def _asked_of(function: DrawdownFunction) -> dict[str, Any]:
    minimum = str(function.minimum_pressure or "")
    return {"component": function.component_as_tested, "limits": function.limits, "minimum": minimum}


def _words(line: Line) -> dict[str, Any]:
    return {
        "low": f"{line.required_low_min} to {line.required_low_max}" if line.required_low_min else "none",
        "high": str(line.required_high),
        "component": line.component_as_tested,
        "limits": line.step.limits,
    }
