"""What the sealed content of every kind of record holds, copied from its rows. See `documents.content.Envelope`."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.conf import settings

from calcs.rules import Edition, OwnFigure
from calcs.verdicts import duration_in_words
from equipment.models import HoleSection, MaspBasis, Rig
from tests_app import rulebook
from tests_app.documents import content as shape
from tests_app.documents.step_copies import Local, as_entered
from tests_app.models import Record, Recording, RecordingKind
from tests_app.queries.completeness import day_of, is_in_date
from tests_app.queries.set_aside import had_judged
from tests_app.queries.verification import rows_content


def envelope_of(record: Record, local: Local) -> shape.Envelope:
    """Return what is alike in every kind of record; each kind adds its own beside it."""
    assert record.concluded_at is not None
    assert record.sealed_at is not None
    day = day_of(record)
    return {
        "number": record.number,
        "kind": {"key": record.kind, "text": record.get_kind_display()},
        "rig": rig_content(record.rig),
        "stack": {
            "name": record.stack.name,
            "kind": {"key": record.stack.kind, "text": record.stack.get_kind_display()},
        },
        "edition": edition_content(rulebook.edition(record.edition)),
        "started_at": local.moment(record.started_at),
        "concluded_at": local.moment(record.concluded_at),
        "sealed_at": local.moment(record.sealed_at),
        "instruments": [instrument_content(use.as_used, day) for use in record.instrument_uses.order_by("id")],
        "remarks": record.remarks,
        "signatures": signatures_of(record),
        "supersedes": _superseded(record),
        "previous_sha256": record.previous_sha256,
        "rows": _rows(record),
        "software": f"Wellhold {settings.WELLHOLD_VERSION}",
    }


def seal_of(record: Record) -> dict[str, Any]:
    """Return what the seal adds to what was signed (`seals.ADDED_BY_SEALING`)."""
    assert record.sealed_at is not None
    return {
        "sealed_at": Local.of(record.rig).moment(record.sealed_at),
        "signatures": signatures_of(record),
        "previous_sha256": record.previous_sha256,
    }


def _rows(record: Record) -> shape.RowsContent:
    hashed = rows_content(record)
    return {"columns": hashed["columns"], "sha256": hashed["sha256"]}


def rig_content(rig: Rig) -> shape.RigContent:
    """Return the rig as its records print it."""
    system: Any = rig.display_units
    return {
        "name": rig.name,
        "kind": rig.get_kind_display(),
        "time_zone": rig.time_zone,
        "display_units": system,
    }


def section_content(section: HoleSection | None) -> shape.SectionContent | None:
    """Return the well and hole section a test was made for."""
    if section is None:
        return None
    entered = section.masp_basis == MaspBasis.ENTERED
    return {
        "well": section.well.name,
        "name": section.name,
        "masp": as_entered(section.masp),
        "masp_basis": section.masp_reason if entered else section.get_masp_basis_display(),
        "masp_margin_approval": section.masp_margin_approval,
        "approved_test_pressure": as_entered(section.approved_test_pressure),
        "approved_test_pressure_reference": section.approved_test_pressure_reference,
    }


def choice(choice: Mapping[str, str]) -> shape.Choice | None:
    """Return a choice that may be left open; None where it was."""
    return {"key": choice["key"], "text": choice["text"]} if choice["key"] else None


def edition_content(edition: Edition) -> shape.EditionContent:
    """Return the rules a record was judged by."""
    return {
        "id": edition.id,
        "title": f"{edition.title}, {edition.edition}",
        "in_force_from": edition.effective_from.isoformat() if edition.effective_from else "",
        "note": f"{edition.source}. Compared on {edition.checked_on.isoformat()}.",
        "own": [_own_figure(one) for one in edition.own],
    }


def _own_figure(own: OwnFigure) -> shape.OwnFigureContent:
    return {
        "rule": own.rule_title,
        "figure": own.label,
        "own": own.own,
        "source": own.source,
        "comparison": own.comparison,
        "approval": own.approval,
        "clause": own.clause,
    }


def instrument_content(kept: dict[str, Any], day: date) -> shape.InstrumentContent:
    """Return an instrument from the copy kept of it, and whether it was in calibration on the day."""
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
        "in_date": is_in_date(kept, day),
    }


def file_content(recording: Recording, used: Sequence[int], local: Local) -> shape.FileContent:
    """Return a file of a test; `used` are the orders of the steps or functions read from it."""
    return {
        "file_name": recording.file_name,
        "kind": {"key": recording.kind, "text": recording.get_kind_display()},
        "sha256": recording.sha256,
        "size": recording.size,
        "received_at": local.moment(recording.received_at),
        "facts": facts_in_words(recording),
        "steps": list(used),
        "withdrawn": recording.withdrawn_at is not None,
        "withdrawn_reason": recording.withdrawn_reason,
        "had_judged": had_judged(recording),
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
