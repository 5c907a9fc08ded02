"""Obligations as they are stored: a row of what was worked out, the rows of a rig, and how one stands at a moment."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cache
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.db.models import Field, QuerySet

from calcs.errors import InputError
from calcs.event_wire import as_plain, from_plain
from calcs.kept_events import attention_at, kept, standing
from calcs.moments import moment_words
from calcs.recurrence import Deadline, Due, Event, Interval, State, Tested, due
from calcs.stated import Stated
from equipment.models import Rig
from tests_app.models import Deferral, Obligation, Postponement, Record, What
from tests_app.queries.deriving.derived import Derived, doing_of
from tests_app.queries.due_items import FORGOTTEN_AFTER, DueItem
from tests_app.queries.waiting import (
    deferral_in_force,
    deferrals_of,
    is_called,
    postponement_in_force,
    postponements_of,
)

_OF_SUBJECT: Final = (
    "stack",
    "position",
    "installation",
    "component",
    "bank",
    "control_item",
    "instrument",
    "document",
    "elastomer",
)
_COUNTED_AS: Final = "counted-as"
"""In `Obligation.stated`, of what was never done: what its years count from, in words."""
_RECORDS: Final = ("last_record", "failed_record", "draft")

# From what was worked out to a row


def as_row(derived: Derived, rig: Rig, at: datetime) -> Obligation:
    """Return the row of one obligation as of `at`, not saved."""
    row = Obligation(rig=rig, key=derived.key, what=derived.what, worked_at=at)
    for name in _OF_SUBJECT:
        setattr(row, name, getattr(derived.subject, name))
    row.subject = _fitting("subject", derived.subject.name)
    row.subject_detail = _fitting("subject_detail", derived.subject.detail)
    row.part = derived.subject.part
    for name in _RECORDS:
        setattr(row, f"{name}_id", getattr(derived, name))
    row.last_done_at = derived.last_done_at
    row.first_owed = _fitting("first_owed", derived.first_owed)
    row.note = derived.note
    row.out_of_tolerance = _fitting("out_of_tolerance", derived.out_of_tolerance)
    row.stood_too_long_from = derived.stood_too_long_from
    row.stops_operations = derived.stops_operations
    row.error = derived.error
    _put_requirement(row, derived)
    _put_date(row, derived, rig.zone, at)
    return row


def _put_requirement(row: Obligation, derived: Derived) -> None:
    asked = derived.requirement
    if asked is not None:
        row.edition, row.confidence = asked.edition, asked.confidence
        row.rule_id, row.clause = _fitting("rule_id", asked.rule_id), _fitting("clause", asked.clause)
        row.interval = str(asked.interval) if asked.interval else ""
        row.deadline = asked.deadline.value if asked.deadline else ""
    row.stated = derived.stated.as_plain() if derived.stated else None
    if derived.counted_as:
        row.stated = {_COUNTED_AS: derived.counted_as}


def _put_date(row: Obligation, derived: Derived, zone: ZoneInfo, at: datetime) -> None:
    """Put on the row what can be searched by: dates as of `at`, and the events they hang on."""
    clock = derived.clock(zone)
    history = kept(derived.history, at=at, forget=clock.forget)
    row.events = as_plain(history)
    try:
        found = derived.due(at=at, zone=zone)
        changes = None if found is None else _changes_at(derived, history, zone, at)
    except InputError as error:
        row.error, found, changes = str(error), None, None
    if found is not None:
        row.due_at = standing(found)[1]
        row.original_due_at = found.original_due_at
        row.counts_from = found.counts_from
        row.out_of_service = found.state is State.OUT_OF_SERVICE
        row.running_since = _running_since(history) if found.state is State.IN_PROGRESS else None
    later = (changes, row.stood_too_long_from)
    row.attention_at = min((one for one in later if one is not None and one > at), default=None)


def _changes_at(derived: Derived, history: Sequence[Event], zone: ZoneInfo, at: datetime) -> datetime | None:
    if derived.stated is not None:
        return derived.stated.attention_at(at, history)
    return attention_at(derived.clock(zone), history, at=at)


def _running_since(history: Iterable[Event]) -> datetime | None:
    running = [event.started for event in history if isinstance(event, Tested) and event.concluded is None]
    return max(running, default=None)


def _fitting(name: str, text: str) -> str:
    """Return a text cut to its column: a long one must not keep a row from being stored."""
    longest = _lengths()[name]
    return text if len(text) <= longest else f"{text[: longest - 1]}…"


@cache
def _lengths() -> dict[str, int]:
    fields: Iterable[Field[Any, Any]] = Obligation._meta.concrete_fields
    return {one.name: one.max_length for one in fields if one.max_length is not None}


# The rows of a rig


@dataclass(frozen=True, slots=True)
class Waiting:
    """The deferrals and postponements on file for one obligation."""

    deferrals: Sequence[Deferral] = ()
    postponements: Sequence[Postponement] = ()


@dataclass(frozen=True)
class WaitingOnRig:
    """The same for a rig, by key of the obligation."""

    deferrals: Mapping[str, Sequence[Deferral]] = field(default_factory=dict)
    postponements: Mapping[str, Sequence[Postponement]] = field(default_factory=dict)

    @classmethod
    def of(cls, rig: Rig) -> "WaitingOnRig":
        """Read them. Two queries."""
        return cls(deferrals_of(rig), postponements_of(rig))

    def on(self, key: str) -> Waiting:
        """Return those of one obligation."""
        return Waiting(self.deferrals.get(key, ()), self.postponements.get(key, ()))


def obligations_of(rig: Rig) -> list[Obligation]:
    """Return the obligations stored for a rig, with all `stand` needs to show them. A constant number of queries."""
    return with_waiting(shown(Obligation.objects.filter(rig=rig)), rig)


def shown(rows: QuerySet[Obligation]) -> QuerySet[Obligation]:
    """Return obligations with the rows pages name, without what is bulky of a record."""
    bulky = [f"{name}__content" for name in _RECORDS]
    return rows.select_related(*_OF_SUBJECT, *_RECORDS).defer(*bulky)


def with_waiting(rows: Iterable[Obligation], rig: Rig) -> list[Obligation]:
    """Return the rows of one rig with what waits on them, and the rig itself wherever they lead to it."""
    waiting, found = WaitingOnRig.of(rig), list(rows)
    for row in found:
        _lead_to(row, rig)
        row.waiting = waiting.on(row.key)  # type: ignore[attr-defined]
    return found


def _lead_to(row: Obligation, rig: Rig) -> None:
    """Put the rig where the row's own rows lead to it, so that a page asks for none of them again."""
    row.rig = rig
    for one in (row.stack, row.component, row.instrument, row.last_record, row.failed_record, row.draft):
        if one is not None:
            one.rig = rig
    if row.stack is not None:
        for standing_in in (row.position, row.control_item):
            if standing_in is not None:
                standing_in.stack = row.stack
    if row.component is not None:
        for part in (row.bank, row.installation, row.elastomer):
            if part is not None:
                part.component = row.component
    if row.installation is not None and row.position is not None:
        row.installation.position = row.position


def with_records(rows: Sequence[Obligation]) -> Sequence[Obligation]:
    """Put the records on rows that were not stored. One query."""
    wanted = {getattr(row, f"{name}_id") for row in rows for name in _RECORDS} - {None}
    records = Record.objects.defer("content").in_bulk(wanted) if wanted else {}
    for row in rows:
        for name in _RECORDS:
            key = getattr(row, f"{name}_id")
            setattr(row, name, records[key] if key is not None else None)
    return rows


# How one stands


def stand(obligation: Obligation, at: datetime) -> DueItem:
    """Return how an obligation stands at a moment: that it was worked out for, or any later one.

    One that can't be read is shown with the reason, as worse than overdue.
    """
    zone = obligation.rig.zone
    error = obligation.error
    found: Due | None = None
    if not error:
        try:
            found = due_of(obligation, at=at, zone=zone)
        except (InputError, ValueError, KeyError, TypeError) as fault:
            error = f"What is stored of it can not be read: {fault}"
    waiting: Waiting = getattr(obligation, "waiting", Waiting())
    postponed = _postponement(waiting, obligation, at)
    found = _called_for(found, postponed, at, zone)
    return DueItem(
        key=obligation.key,
        what=What(obligation.what),
        subject=obligation.subject,
        subject_detail=obligation.subject_detail,
        part=obligation.part,
        zone=zone,
        **{name: getattr(obligation, name) for name in (*_OF_SUBJECT, *_RECORDS)},
        last_tested_at=obligation.last_done_at,
        due=found,
        first_owed=obligation.first_owed,
        stood_too_long=obligation.stood_too_long_from is not None and at >= obligation.stood_too_long_from,
        rule_id=obligation.rule_id,
        clause=obligation.clause,
        edition=obligation.edition,
        confidence=obligation.confidence,
        note=obligation.note,
        error=error,
        out_of_tolerance=obligation.out_of_tolerance,
        deferral=_deferral(waiting, found, at),
        postponement=postponed,
        stops_operations=obligation.stops_operations,
    )


def is_called_for(obligation: Obligation, postponements: Sequence[Postponement], at: datetime) -> bool:
    """Tell whether an obligation is due at once only because its test waited and was called for since."""
    obligation.waiting = Waiting((), postponements)  # type: ignore[attr-defined]
    item = stand(obligation, at)
    called = item.postponement.called_at if item.postponement else None
    if item.error or item.due is None or called is None:
        return False
    plain = due_of(obligation, at=at, zone=obligation.rig.zone)
    return item.due != plain


def _called_for(found: Due | None, postponed: Postponement | None, at: datetime, zone: ZoneInfo) -> Due | None:
    """Return the date of a test that waited and was called for: at once from then, unless it was due before."""
    if found is None or postponed is None or postponed.called_at is None or not is_called(postponed, at):
        return found
    if found.state not in (State.IN_DATE, State.DUE_SOON):
        return found
    since = moment_words(postponed.called_at, zone)
    return replace(
        found,
        state=State.DUE_NOW,
        due_at=postponed.called_at.astimezone(zone),
        amber_at=None,
        original_due_at=found.original_due_at or found.due_at,
        reason=f"{found.reason} It waited for safety and was called for {since}: due at once.",
    )


def due_of(obligation: Obligation, *, at: datetime, zone: ZoneInfo) -> Due:
    """Return when a stored obligation is due, as of a moment; raises InputError or ValueError for what can't be read.

    A constant amount of work: the events kept are those its date hangs on.
    """
    history = from_plain(obligation.events)
    stated = obligation.stated or {}
    if stated and _COUNTED_AS not in stated:
        return Stated.from_plain(stated).due(at=at, zone=zone, events=history)
    return due(
        _interval(obligation.interval),
        Deadline(obligation.deadline) if obligation.deadline else None,
        history,
        at=at,
        zone=zone,
        forget=FORGOTTEN_AFTER,
        doing=doing_of(What(obligation.what), stated.get(_COUNTED_AS, "")),
    )


@cache
def _interval(text: str) -> Interval | None:
    return Interval.parse(text) if text else None


def _deferral(waiting: Waiting, found: Due | None, at: datetime) -> Deferral | None:
    """Return the deferral in force, where it still moves the date: something done since ends it."""
    moved = found is not None and found.original_due_at is not None
    return deferral_in_force(waiting.deferrals, at) if moved else None


def _postponement(waiting: Waiting, obligation: Obligation, at: datetime) -> Postponement | None:
    """Return why the test waits, until it is made."""
    standing_now = postponement_in_force(waiting.postponements, at)
    done = obligation.last_done_at
    return None if standing_now is None or (done is not None and done >= standing_now.made_at) else standing_now
