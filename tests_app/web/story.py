"""What was done to a test, by whom and when, in words: the trail as its page tells it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from tests_app.models import Record
from tests_app.queries import records
from trail import entries

EVENTS: Final[Mapping[str, str]] = {
    "record.opened": "opened the test",
    "record.heading-amended": "changed the heading",
    "record.requirements-followed": "amended what it rests on, and had its figures worked out anew:",
    "record.concluded": "gave its conclusion",
    "record.discarded": "discarded the draft",
    "record.superseded": "opened it as a correction",
    "record.signed": "signed it",
    "record.sealed": "signed it, the last needed, which sealed it",
    "step.added": "added",
    "step.retest-added": "repeated as",
    "step.amended": "changed",
    "step.removed": "took out",
    "step.marks-chosen": "chose the marks of",
    "step.readings-typed": "typed readings in for",
    "step.readings-taken-back": "took the readings back of",
    "line.noted": "noted what was seen at",
    "recording.attached": "attached",
    "recording.withdrawn": "set aside",
    "chart.attached": "attached the chart",
    "recording.marks-confirmed": "confirmed what was proposed in",
    "recording.channel-chosen": "chose the column of",
    "recording.searched": "had searched again",
    "recording.drops-searched": "had searched for steps of the drawdown",
    "record.functions-filled": "entered the usual functions from the stack",
    "record.readings-written": "wrote what was read",
    "record.proposals-accepted": "took over the steps found in the recorder's file",
    "function.added": "added",
    "function.amended": "changed",
    "function.removed": "took out",
    "function.moved": "moved",
    "recharge.added": "added",
    "recharge.amended": "changed",
    "recharge.removed": "took out",
    "pump.added": "added",
    "pump.amended": "changed",
    "pump.removed": "took out",
    "record.lines-written": "wrote what was seen of what was worked",
    "record.statements-confirmed": "said what had been so first",
    "function-line.added": "added",
    "function-line.retest-added": "worked again",
    "function-line.removed": "took out",
    "certificate.issued": "made",
}
_OF_THE_WHOLE: Final = "record."


@dataclass(frozen=True)
class Told:
    """One thing done."""

    at: datetime
    actor: str
    what: str
    reason: str


def story_of(record: Record, *, most: int | None = None) -> list[Told]:
    """Return what was done to the record and what hangs on it, the latest first. A constant number of queries."""
    certificate = getattr(record, "certificate", None)
    rows = [
        record,
        *records.steps_of(record),
        *records.lines_of(record),
        *records.recordings_of(record),
        *record.drawdown_functions.all(),
        *record.recharges.all(),
        *record.pump_readings.all(),
        *record.function_lines.select_related("position", "control_item"),
        *([certificate] if certificate else []),
    ]
    found = entries.of_subjects(rows)
    return [_told(entry.at, entry.actor_name, entry.event, entry.subject_label, entry.reason) for entry in found[:most]]


def _told(at: datetime, actor: str, event: str, subject: str, reason: str) -> Told:
    verb = EVENTS.get(event, event)
    return Told(at, actor, verb if event.startswith(_OF_THE_WHOLE) else f"{verb} {subject}", reason)
