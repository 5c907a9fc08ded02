"""The sealed content of a record: everything its certificate prints, copied once. See `documents.content`."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.conf import settings

from calcs.rules import Edition
from calcs.verdicts import duration_in_words
from equipment.models import HoleSection, MaspBasis, Rig
from tests_app import rulebook
from tests_app.documents import content as shape
from tests_app.documents.step_copies import Local, as_entered, open_line, step_content, unassigned_hold
from tests_app.models import InstrumentUse, Line, Outcome, PressureTest, Record, Recording, RecordingKind, Step
from tests_app.queries.alarms import alarms_of
from tests_app.queries.completeness import day_of, is_in_date
from tests_app.queries.proposals import loose_holds
from tests_app.queries.records import final_lines, recordings_of, steps_of
from tests_app.queries.unproven import Unproven, unproven_of
from tests_app.queries.verification import rows_content


def content_of(record: Record) -> shape.Content:
    """Return the content of a record that is being sealed, from its rows. A constant number of queries."""
    local = Local.of(record.rig)
    steps = list(steps_of(record))
    recordings = list(recordings_of(record))
    by_key = {step.pk: step for step in steps}
    final = final_lines(_with_steps(steps))
    open_lines = [line for line in final if line.outcome == Outcome.FAILED]
    assert record.concluded_at is not None
    assert record.sealed_at is not None
    return {
        "form": "pressure-test/1",
        "number": record.number,
        "kind": {"key": record.kind, "text": record.get_kind_display()},
        "rig": _rig(record.rig),
        "stack": {
            "name": record.stack.name,
            "kind": {"key": record.stack.kind, "text": record.stack.get_kind_display()},
        },
        "section": _section(record.section),
        "heading": _heading(record.pressure_test),
        "edition": _edition(rulebook.edition(record.edition)),
        "rules": _rules(line for step in steps for line in step.lines.all()),
        "started_at": local.moment(record.started_at),
        "concluded_at": local.moment(record.concluded_at),
        "sealed_at": local.moment(record.sealed_at),
        "passed": not open_lines,
        "open_lines": [open_line(line, by_key[line.step_id]) for line in open_lines],
        "alarms": [alarm.text for alarm in alarms_of(record, steps)],
        "steps": [step_content(step, local=local, proved_by=_proved_by(steps)) for step in steps],
        "unproven": [_unproven(one, local) for one in unproven_of(record, steps)],
        "instruments": [_instrument(use, record) for use in record.instrument_uses.order_by("id")],
        "files": [_file(recording, steps, local) for recording in recordings],
        "unassigned_holds": [unassigned_hold(hold, local) for hold in loose_holds(recordings, steps)],
        "remarks": record.remarks,
        "signatures": signatures_of(record),
        "supersedes": _superseded(record),
        "previous_sha256": record.previous_sha256,
        "rows": _rows(record),
        "software": f"Wellhold {settings.WELLHOLD_VERSION}",
    }


def _rows(record: Record) -> shape.RowsContent:
    hashed = rows_content(record)
    return {"columns": hashed["columns"], "sha256": hashed["sha256"]}


def _with_steps(steps: Iterable[Step]) -> list[Line]:
    """Return the lines of all steps, each knowing its step without another query."""
    lines = []
    for step in steps:
        for line in step.lines.all():
            line.step = step
            lines.append(line)
    return lines


def _proved_by(steps: Sequence[Step]) -> dict[int, int]:
    """Return for each line that a later step proves after it the order of that step, the first that passed."""
    proved: dict[int, int] = {}
    later: dict[tuple[int, str], int] = {}
    for step in reversed(steps):
        for line in step.lines.all():
            key = (line.position_id, line.pressure_from)
            if key in later:
                proved[line.pk] = later[key]
        for line in step.lines.all():
            key = (line.position_id, line.pressure_from)
            if line.outcome == Outcome.PASSED:
                later[key] = step.order
    return proved


def _unproven(one: Unproven, local: Local) -> shape.UnprovenContent:
    return {
        "position": one.position.name,
        "kind": one.component.get_kind_display(),
        "serial": one.component.serial,
        "by_hold": one.by_hold,
        "failed_here": one.failed_here,
        "last_proved": _proof(one.last, local),
        "failed_since": _proof(one.failed_since, local),
    }


def _proof(test: Record | None, local: Local) -> shape.ProofContent | None:
    if test is None or test.concluded_at is None:
        return None
    return {"record": test.number, "concluded_at": local.moment(test.concluded_at)}


def _rig(rig: Rig) -> shape.RigContent:
    system: Any = rig.display_units
    return {
        "name": rig.name,
        "kind": rig.get_kind_display(),
        "time_zone": rig.time_zone,
        "display_units": system,
    }


def _section(section: HoleSection | None) -> shape.SectionContent | None:
    if section is None:
        return None
    entered = section.masp_basis == MaspBasis.ENTERED
    return {
        "well": section.well.name,
        "name": section.name,
        "masp": as_entered(section.masp),
        "masp_basis": section.masp_reason if entered else section.get_masp_basis_display(),
        "masp_margin_approval": section.masp_margin_approval,
    }


def _heading(heading: PressureTest) -> shape.Heading:
    station = {"key": heading.control_station, "text": heading.get_control_station_display()}
    pod = {"key": heading.pod, "text": heading.get_pod_display()}
    return {
        "reason": {"key": heading.reason, "text": heading.get_reason_display()},
        "fluid": {"key": heading.fluid, "text": heading.get_fluid_display()},
        "barrier": {"key": heading.barrier, "text": heading.get_barrier_display()},
        "pipe_in_hole": as_entered(heading.pipe_in_hole),
        "control_station": _choice(station),
        "pod": _choice(pod),
        "pump_operator": heading.pump_operator,
        "plan_reference": heading.plan_reference,
    }


def _choice(choice: dict[str, str]) -> shape.Choice | None:
    return {"key": choice["key"], "text": choice["text"]} if choice["key"] else None


def _edition(edition: Edition) -> shape.EditionContent:
    return {
        "id": edition.id,
        "title": f"{edition.title}, {edition.edition}",
        "in_force_from": edition.effective_from.isoformat(),
        "note": f"{edition.source}. Compared on {edition.checked_on.isoformat()}.",
    }


def _rules(lines: Iterable[Line]) -> list[shape.RuleContent]:
    rows: dict[tuple[str, str], Any] = {}
    for line in lines:
        for rule in line.rules:
            row = {"clause": rule["clause"], "text": rule["text"], "confidence": rule["confidence"]}
            rows.setdefault((rule["clause"], rule["text"]), row)
    return [rows[key] for key in sorted(rows)]


def _instrument(use: InstrumentUse, record: Record) -> shape.InstrumentContent:
    kept = use.as_used
    return {
        "kind": kept["kind_text"],
        "serial": kept["serial"],
        "maker": kept["maker"],
        "model": kept["model"],
        "range_low": kept["range_low"],
        "range_high": kept["range_high"],
        "accuracy_percent": kept["accuracy_percent"],
        "chart_hours": kept["chart_hours"],
        "calibrated_on": kept["calibrated_on"],
        "calibration_due_on": kept["calibration_due_on"],
        "certificate_number": kept["certificate_number"],
        "in_date": is_in_date(kept, day_of(record)),
    }


def _file(recording: Recording, steps: Sequence[Step], local: Local) -> shape.FileContent:
    used = {step.order for step in steps if recording.pk == step.recording_id or step.pk == recording.step_id}
    return {
        "file_name": recording.file_name,
        "kind": {"key": recording.kind, "text": recording.get_kind_display()},
        "sha256": recording.sha256,
        "size": recording.size,
        "received_at": local.moment(recording.received_at),
        "facts": facts_in_words(recording),
        "steps": sorted(used),
        "withdrawn": recording.withdrawn_at is not None,
        "withdrawn_reason": recording.withdrawn_reason,
    }


def facts_in_words(recording: Recording) -> str:
    """Return what is known of a recorder file in a line: ``12,400 samples, 1 s apart, psi, 206 min 40 s``."""
    if recording.kind != RecordingKind.SAMPLES:
        return ""
    facts = recording.facts
    apart = f"{facts['median_interval_s']:g} s apart"
    words = [f"{facts['samples']:,} samples", apart, facts["unit"], duration_in_words(facts["duration_s"])]
    if recording.has_several_channels:
        words.append(f"channel {recording.channel}" if recording.channel else "no channel chosen")
    words += [f"not {each['instead_of']}: {each['reason']}" for each in facts.get("channel_reasons", ())]
    return ", ".join(word for word in words if word)


def signatures_of(record: Record) -> list[shape.SignatureContent]:
    """Return the signatures given so far, in the order they were."""
    local = Local.of(record.rig)
    return [
        {
            "name": signature.name,
            "role": {"key": signature.role, "text": signature.get_role_display()},
            "signed_at": local.moment(signature.signed_at),
            "signed_sha256": signature.sha256,
        }
        for signature in record.signatures.order_by("signed_at", "id")
    ]


def _superseded(record: Record) -> shape.SupersededRecord | None:
    earlier = record.supersedes
    if earlier is None:
        return None
    return {"number": earlier.number, "sha256": earlier.sha256, "reason": record.supersedes_reason}
