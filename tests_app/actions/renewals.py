"""What work done writes elsewhere: new dates of an instrument, a new document, a new elastomer; and its undoing.

All of it through the actions of equipment, in the transaction of the entry, so that the pages of equipment and the
due list never disagree.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final, cast

from django.db.models import Model

from equipment.actions import amendments, components, documents, instruments, service
from equipment.errors import Refused
from equipment.models import (
    Component,
    Document,
    DocumentKind,
    Elastomer,
    Instrument,
    ServiceEvent,
    ServiceKind,
)
from tests_app.models import Completion, What
from tests_app.queries.owed import Owed
from trail.actors import Actor


@dataclass(frozen=True)
class Received:
    """A file as it came in."""

    name: str
    content: bytes


@dataclass(frozen=True)
class Calibration:
    """The new dates of an instrument."""

    due_on: date
    certificate_number: str = ""


@dataclass(frozen=True)
class NewDocument:
    """The document that follows the old one."""

    title: str
    number: str = ""
    issued_on: date | None = None
    expires_on: date | None = None


@dataclass(frozen=True)
class NewElastomer:
    """The elastomer fitted in place of the old one."""

    compound: str = ""
    batch: str = ""
    expires_on: date | None = None


Renewal = Calibration | NewDocument | NewElastomer

_ASKED_BY: Final[dict[type[Model], type[Renewal]]] = {
    Instrument: Calibration,
    Document: NewDocument,
    Elastomer: NewElastomer,
}


def renewal_of(owed: Owed) -> type[Renewal] | None:
    """Return what such work renews elsewhere; None where it renews nothing but its own date."""
    return _ASKED_BY.get(type(owed.row))


def check_renewal(owed: Owed, renewal: Renewal | None, passed: bool) -> None:
    """Refuse what the work renews where it is missing, and where it is of another kind of work."""
    wanted = renewal_of(owed)
    if renewal is not None and (wanted is None or not isinstance(renewal, wanted)):
        raise Refused("renewal", f"{owed.what.label} of {owed.subject} renews nothing of this kind.", "Leave it out.")
    if wanted is not None and renewal is None and passed:
        raise Refused("renewal", "What was renewed is missing.", "Give the new dates or the new part.")


def write_renewal(
    entry: Completion, owed: Owed, renewal: Renewal | None, evidence: Received | None, *, by: Actor, at: datetime
) -> None:
    """Write what the work changes elsewhere, and note on the entry what that was, before it is stored."""
    day = entry.concluded_at.astimezone(owed.rig.zone).date()
    match owed.row, renewal:
        case Instrument(), Calibration() if entry.passed:
            _calibrate(entry, owed.row, renewal, evidence, day, by, at)
        case Document(), NewDocument():
            _renew(entry, owed.row, renewal, evidence, by, at)
        case Elastomer(), NewElastomer():
            _change(entry, owed.row, renewal, day, by, at)
    if owed.component is None:
        return
    if owed.what == What.OVERHAUL:
        _overhaul(entry, owed.component, day, by, at)
    elif owed.what == What.ELASTOMER and entry.service_event is None:
        entry.service_event = _service(
            entry, owed.component, ServiceKind.ELASTOMER_CHANGE, "Elastomers changed", by, at
        )


def _calibrate(
    entry: Completion,
    instrument: Instrument,
    renewal: Calibration,
    evidence: Received | None,
    day: date,
    by: Actor,
    at: datetime,
) -> None:
    """Give the instrument its new dates, unless a later calibration is on file; attach the certificate."""
    if renewal.due_on <= day:
        raise Refused("due_on", "It would be due before it was calibrated.", "Check both days.")
    if instrument.calibrated_on is None or instrument.calibrated_on <= day:
        new = {
            "calibrated_on": day,
            "calibration_due_on": renewal.due_on,
            "certificate_number": renewal.certificate_number,
        }
        before = {name: getattr(instrument, name) for name in new}
        amended = instruments.amend_instrument(
            instrument,
            calibrated_on=day,
            calibration_due_on=renewal.due_on,
            certificate_number=renewal.certificate_number,
            by=by,
            at=at,
        )
        entry.replaced = {
            "before": {name: _plain(value) for name, value in before.items()},
            "after": {name: _plain(getattr(amended, name)) for name in new},
        }
    if evidence is not None:
        followed = _calibration_paper(instrument)
        entry.new_document = documents.attach_document(
            instrument,
            kind=DocumentKind.CALIBRATION,
            title=followed.title if followed else "Calibration certificate",
            content=evidence.content,
            file_name=evidence.name,
            number=renewal.certificate_number,
            issued_on=day,
            expires_on=renewal.due_on if followed and followed.expires_on else None,
            follows=followed,
            by=by,
            at=at,
        )


def _calibration_paper(instrument: Instrument) -> Document | None:
    """Return the last calibration certificate on file that none follows: the new one renews it."""
    standing = instrument.documents.filter(kind=DocumentKind.CALIBRATION)
    followed = standing.filter(follows__isnull=False).values("follows")
    found: Document | None = standing.exclude(pk__in=followed).order_by("added_at", "pk").last()
    return found


def _renew(
    entry: Completion, old: Document, renewal: NewDocument, evidence: Received | None, by: Actor, at: datetime
) -> None:
    if evidence is None:
        raise Refused("evidence", "The new document itself is missing.", "Attach its file.")
    entry.new_document = documents.attach_document(
        cast(Component | Instrument, old.component or old.instrument),
        kind=old.kind,
        title=renewal.title,
        content=evidence.content,
        file_name=evidence.name,
        number=renewal.number,
        issued_on=renewal.issued_on,
        expires_on=renewal.expires_on,
        follows=old,
        by=by,
        at=at,
    )


def _change(entry: Completion, old: Elastomer, renewal: NewElastomer, day: date, by: Actor, at: datetime) -> None:
    """Take the old elastomer out, fit the new one, and record the work that ends the earlier proofs."""
    service.remove_elastomer(old, removed_on=day, by=by, at=at)
    entry.new_elastomer = service.fit_elastomer(
        old.component,
        part=old.part,
        installed_on=day,
        compound=renewal.compound,
        batch=renewal.batch,
        expires_on=renewal.expires_on,
        by=by,
        at=at,
    )
    entry.service_event = _service(entry, old.component, ServiceKind.ELASTOMER_CHANGE, f"{old.part} changed", by, at)


def _overhaul(entry: Completion, component: Component, day: date, by: Actor, at: datetime) -> None:
    """Record the work that ends the earlier proofs; a passed one is the component's last major inspection."""
    # One that did not pass opened the component all the same, but its years do not count from it.
    kind, words = (
        (ServiceKind.OVERHAUL, "Overhauled") if entry.passed else (ServiceKind.REPAIR, "Overhaul not passed, worked on")
    )
    entry.service_event = _service(entry, component, kind, words, by, at)
    last = component.last_major_inspection_on
    if entry.passed and (last is None or last < day):
        components.amend_component(component, last_major_inspection_on=day, by=by, at=at)
        entry.replaced = {
            "before": {"last_major_inspection_on": _plain(last)},
            "after": {"last_major_inspection_on": _plain(day)},
        }


def _service(entry: Completion, component: Component, kind: str, words: str, by: Actor, at: datetime) -> ServiceEvent:
    said = f"{words} by {entry.done_by}." + (f" {entry.findings}" if entry.findings else "")
    return service.record_service(component, kind=kind, finished_at=entry.concluded_at, description=said, by=by, at=at)


def take_back(entry: Completion, *, reason: str, by: Actor, at: datetime) -> None:
    """Undo what an entry made in error wrote elsewhere; raises Refused where something later rests on it."""
    if entry.new_elastomer is not None:
        _put_back(entry, reason, by, at)
    if entry.service_event is not None and entry.service_event.withdrawn_at is None:
        service.withdraw_service(entry.service_event, reason=reason, by=by, at=at)
    if entry.new_document is not None and entry.new_document.withdrawn_at is None:
        documents.withdraw_document(entry.new_document, reason=reason, by=by, at=at)
    _restore(entry, reason, by, at)


def _put_back(entry: Completion, reason: str, by: Actor, at: datetime) -> None:
    new, old = cast(Elastomer, entry.new_elastomer), cast(Elastomer, entry.elastomer)
    if new.removed_on is not None:
        raise Refused("", f"The {new.part} fitted then was changed again.", "Withdraw that later entry first.")
    if new.withdrawn_at is None:
        service.withdraw_elastomer(new, reason=reason, by=by, at=at)
    if old.removed_on is not None:
        amendments.amend_elastomer(old, removed_on=None, reason=reason, by=by, at=at)


def _restore(entry: Completion, reason: str, by: Actor, at: datetime) -> None:
    """Put back the dates this entry replaced, unless something later replaced them again."""
    before, after = entry.replaced.get("before", {}), entry.replaced.get("after", {})
    row = entry.instrument or entry.component
    if not before or row is None or {name: _plain(getattr(row, name)) for name in after} != after:
        return
    values = {name: _read(name, text) for name, text in before.items()}
    if isinstance(row, Instrument):
        instruments.amend_instrument(row, by=by, at=at, **values)  # type: ignore[arg-type]
    else:
        components.amend_component(row, reason=reason, by=by, at=at, **values)  # type: ignore[arg-type]


def _plain(value: date | str | None) -> str:
    return value.isoformat() if isinstance(value, date) else value or ""


def _read(name: str, text: str) -> date | str | None:
    if not name.endswith("_on"):
        return text
    return date.fromisoformat(text) if text else None
