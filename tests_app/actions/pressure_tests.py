"""A pressure test from opening to conclusion: its heading, its instruments, and giving it up."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, Final

from django.db import IntegrityError, models, transaction
from django.db.models import Max

from accounts.models import User
from accounts.presentation import date_text
from equipment.actions.saving import aware
from equipment.errors import Refused
from equipment.models import HoleSection, Instrument, Rig, Stack
from tests_app.actions.drafts import hold_draft
from tests_app.actions.judging import judge_all, require_all
from tests_app.models import Barrier, Evidence, InstrumentUse, PressureTest, Record, RecordKind
from tests_app.queries.copies import as_used
from tests_app.queries.function_statements import unconfirmed
from tests_app.queries.requirements import edition_of
from trail import entries

_TRIES: Final = 5


@dataclass(frozen=True)
class Heading:
    """What holds for the whole test, as typed; quantities as text with their unit, such as ``5 in``."""

    started_at: datetime
    reason: str
    fluid: str
    barrier: str
    pipe_in_hole: str = ""
    control_station: str = ""
    pod: str = ""
    pump_operator: str = ""
    plan_reference: str = ""
    remarks: str = ""


@transaction.atomic
def open_pressure_test(
    *,
    rig: Rig,
    stack: Stack,
    section: HoleSection | None,
    heading: Heading,
    instruments: Sequence[Instrument],
    by: User,
    at: datetime,
) -> Record:
    """Open a draft of a pressure test, numbered next on the rig and judged by the edition the rig tests by.

    Raises Refused or ValidationError naming the field of the heading, `section`, `stack` or `instruments`.
    """
    _refuse_strangers(rig, stack, section, instruments)
    _refuse_heading(heading, section, at)
    record = Record(
        rig=rig,
        stack=stack,
        section=section,
        kind=RecordKind.PRESSURE,
        edition=edition_of(rig).id,
        started_at=heading.started_at,
        remarks=heading.remarks,
        created_at=at,
        created_by=by,
    )
    save_numbered(record)
    test = PressureTest(record=record)
    _write_heading(test, heading)
    use_instruments(record, instruments)
    entries.write("record.opened", record, by=by, at=at, rig_number=rig.pk, after=_told(record, test, instruments))
    return record


@transaction.atomic
def amend_heading(
    record: Record,
    *,
    section: HoleSection | None,
    heading: Heading,
    instruments: Sequence[Instrument],
    version: int,
    by: User,
    at: datetime,
) -> Record:
    """Change the heading of a draft; required pressures are worked out anew and what was judged is judged again.

    Raises RecordIsStale when the draft changed since `version`, else as `open_pressure_test`.
    """
    held = hold_draft(record, version=version)
    _refuse_strangers(held.rig, held.stack, section, instruments)
    _refuse_heading(heading, section, at)
    if held.concluded_at is not None and held.concluded_at <= heading.started_at:
        raise Refused("started_at", "The test would begin after it concluded.", "Give an earlier time.")
    test = held.pressure_test
    before = _told(held, test, [use.instrument for use in held.instrument_uses.select_related("instrument")])
    held.section, held.started_at, held.remarks = section, heading.started_at, heading.remarks
    held.version += 1
    held.save()
    _write_heading(test, heading)
    held.instrument_uses.all().delete()
    use_instruments(held, instruments)
    require_all(held)
    judge_all(held)
    was, became = entries.changes(before, _told(held, test, instruments))
    entries.write("record.heading-amended", held, by=by, at=at, rig_number=held.rig_id, before=was, after=became)
    return held


@transaction.atomic
def conclude(record: Record, *, concluded_at: datetime, by: User, at: datetime) -> Record:
    """Say when the test was over: the next deadline counts from this moment.

    Raises Refused naming `concluded_at` when it is not after the start, lies in the future, or lies before the
    end of a hold typed in. A recorder's clock may be wrong: that is asked about before signing.
    """
    held = hold_draft(record)
    _refuse_conclusion(held, concluded_at, at)
    _refuse_unconfirmed(held)
    before = {"concluded_at": held.concluded_at.isoformat() if held.concluded_at else None}
    held.concluded_at = concluded_at
    held.version += 1
    held.save()
    after = {"concluded_at": concluded_at.isoformat()}
    entries.write("record.concluded", held, by=by, at=at, rig_number=held.rig_id, before=before, after=after)
    return held


@transaction.atomic
def discard_record(record: Record, *, reason: str, by: User, at: datetime) -> Record:
    """Discard a draft; it stays on file with its reason and its recordings, and counts for nothing."""
    held = hold_draft(record)
    if not reason.strip():
        raise Refused("reason", "A draft is not discarded without a reason.", "Say why, in a few words.")
    held.discarded_at, held.discarded_reason = at, reason.strip()
    # A correction given up leaves its place to another; the trail keeps what it was to correct.
    held.supersedes = None
    held.version += 1
    held.full_clean(exclude=("rig", "stack", "section", "created_by"))
    held.save()
    entries.write("record.discarded", held, by=by, at=at, rig_number=held.rig_id, reason=held.discarded_reason)
    return held


def save_numbered(record: Record) -> None:
    """Save a new record under the next number of its rig.

    Two people may take the same number at once: the database lets one through, the other takes the next.
    """
    for _ in range(_TRIES):
        record.number = highest_number(record.rig) + 1
        try:
            with transaction.atomic():
                record.save(force_insert=True)
                return
        except IntegrityError:
            if not Record.objects.filter(rig_id=record.rig_id, number=record.number).exists():
                raise
    raise Refused("", "Many tests are being opened at once.", "Try again.")


def highest_number(rig: Rig) -> int:
    """Return the highest number of the rig's records, zero before the first."""
    highest = Record.objects.filter(rig=rig).aggregate(highest=Max("number"))["highest"]
    return int(highest or 0)


def use_instruments(record: Record, instruments: Iterable[Instrument]) -> None:
    """Write which instruments the test is read from, with their calibration as it stands."""
    for instrument in dict.fromkeys(instruments):
        InstrumentUse.objects.create(record=record, instrument=instrument, as_used=as_used(instrument))


def _refuse_strangers(rig: Rig, stack: Stack, section: HoleSection | None, instruments: Sequence[Instrument]) -> None:
    if stack.rig_id != rig.pk:
        raise Refused("stack", "The stack is another rig's.", "Choose a stack of this rig.")
    if section is not None and section.well.rig_id != rig.pk:
        raise Refused("section", "The hole section is another rig's.", "Choose a section of this rig's wells.")
    if any(instrument.rig_id != rig.pk for instrument in instruments):
        raise Refused("instruments", "An instrument is another rig's.", "Choose instruments of this rig.")


def _refuse_heading(heading: Heading, section: HoleSection | None, at: datetime) -> None:
    if aware(heading.started_at, field="started_at") > at:
        raise Refused("started_at", "The test begins in the future.", "Give the time it was begun.")
    if section is None and heading.barrier != Barrier.STUMP:
        raise Refused(
            "section",
            "The wellhead and casing of the hole section limit what may be tested, and none is chosen.",
            "Choose the hole section; without one only the test stump closes the bore.",
        )


def _refuse_conclusion(record: Record, concluded_at: datetime, at: datetime) -> None:
    if aware(concluded_at, field="concluded_at") <= record.started_at:
        raise Refused("concluded_at", "A test concludes after it started.", "Give a time after its start.")
    if concluded_at > at:
        raise Refused("concluded_at", "The conclusion lies in the future.", "Give the time the test was over.")
    last = record.steps.filter(evidence=Evidence.TYPED).aggregate(last=Max("concluded_at"))["last"]
    if last is not None and concluded_at < last:
        local = last.astimezone(record.rig.zone)
        ended = f"{date_text(local)}, {local:%H:%M:%S}"
        raise Refused(
            "concluded_at",
            f"A hold of this test was still running: the last one typed in ended {ended}.",
            "Give that moment or a later one.",
        )


def _refuse_unconfirmed(record: Record) -> None:
    """Refuse the end of a function test while something that has to be so first is not confirmed."""
    if record.kind != RecordKind.FUNCTION:
        return
    for one in unconfirmed(record):
        raise Refused(
            "concluded_at", f"Nobody confirmed yet: {one.words} {one.clause} asks for it.", "Confirm it above, first."
        )


def _write_heading(test: PressureTest, heading: Heading) -> None:
    for name, value in asdict(heading).items():
        if name not in ("started_at", "remarks"):
            setattr(test, name, value)
    test.full_clean(exclude=("record",))
    test.save()


def _told(record: Record, test: PressureTest, instruments: Iterable[Instrument]) -> dict[str, Any]:
    """Return the envelope and heading as the trail keeps them."""
    rows: tuple[models.Model, ...] = (record, test)
    told = {key: value for row in rows for key, value in entries.snapshot(row).items()}
    return {**told, "instruments": [str(instrument) for instrument in instruments]}
