"""The sweep: each minute it looks at what is near its date, and makes the notices that are new.

It may run at any time, twice at once, and after any outage: a notice is made once a stage and due date, by the
database's own constraint, and of stages passed while nothing ran only the most pressing is told.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db import transaction

from calcs.alert_stages import passed_over
from equipment.actions.saving import aware
from equipment.models import Rig
from tests_app.actions.telling import tell
from tests_app.models import AlertSettings, Closing, Notice, Obligation, Purpose, SweepMark
from tests_app.queries.alerts import escalated_to, farthest_ahead, plan_of, settings_of, told_on
from tests_app.queries.due_items import DueItem
from tests_app.queries.obligations import shown, stand, with_waiting
from tests_app.queries.stages_reached import Reached, closed_because, headline, near, stage_of
from trail.actors import Actor

Occasion = tuple[str, str]
"""Key of an obligation, and what its stages count to."""


@dataclass
class _Look:
    """How the obligations near their date stand at one moment."""

    rows: dict[str, Obligation] = field(default_factory=dict)
    items: dict[str, DueItem] = field(default_factory=dict)
    reached: dict[Occasion, Reached] = field(default_factory=dict)

    @classmethod
    def at_all(cls, rows: Iterable[Obligation], chosen: AlertSettings, at: datetime) -> "_Look":
        look = cls()
        for row in rows:
            item = stand(row, at)
            look.rows[row.key], look.items[row.key] = row, item
            plan = plan_of(chosen, row.what)
            reached = stage_of(item, row, at=at, plan=plan, zone=chosen.rig.zone)
            if reached is not None:
                look.reached[row.key, reached.occasion] = reached
        return look


@transaction.atomic
def sweep(rig: Rig, *, by: Actor, at: datetime) -> SweepMark:
    """Make the notices of a rig that are new at `at`, close those that have nothing to say any more, and tell."""
    aware(at)
    mark = _hold(rig)
    chosen = settings_of(rig)
    known = list(Notice.objects.filter(rig=rig, closed_at=None))
    keys = frozenset(notice.obligation_key for notice in known)
    rows = with_waiting(shown(near(rig, at=at, within=farthest_ahead(chosen), keys=keys)), rig)
    look = _Look.at_all(rows, chosen, at)
    told = _told_before(rig, look)
    new = [
        _notice(chosen, look, occasion, reached, told[occasion], at)
        for occasion, reached in look.reached.items()
        if _is_new(reached, told[occasion])
    ]
    raised = {(one.obligation_key, one.occasion) for one in new}
    closed = _close(known, look, raised, at)
    _reopen(look, told, raised)
    made = _store(new)
    if made:
        tell(made, told_on(rig, chosen), chosen, purpose=Purpose.NOTICE, at=at)
    return _noted(mark, looked_at=len(look.rows), raised=len(made), closed=closed, at=at)


def _hold(rig: Rig) -> SweepMark:
    """Return the rig's mark, held until this is committed: a second sweep waits here and then sees what this one made.

    On SQLite, which locks no rows, the transaction itself keeps others out.
    """
    SweepMark.objects.get_or_create(rig=rig)
    return SweepMark.objects.select_for_update(no_key=True).get(pk=rig.pk)


def _told_before(rig: Rig, look: _Look) -> Mapping[Occasion, list[Notice]]:
    """Return the notices of the same occasions, open and closed."""
    told: dict[Occasion, list[Notice]] = defaultdict(list)
    keys = {key for key, _ in look.reached}
    occasions = {occasion for _, occasion in look.reached}
    for notice in Notice.objects.filter(rig=rig, obligation_key__in=keys, occasion__in=occasions):
        told[notice.obligation_key, notice.occasion].append(notice)
    return told


def _is_new(reached: Reached, told: Iterable[Notice]) -> bool:
    """Tell whether nobody was told of this stage or a later one, nor acknowledged what it repeats."""
    past = reached.stage.hours_past
    for notice in told:
        if notice.hours_past >= past:
            return False
        if past > 0 and notice.hours_past >= 0 and notice.acknowledged_at is not None:
            return False
    return True


def _notice(
    chosen: AlertSettings,
    look: _Look,
    occasion: Occasion,
    reached: Reached,
    told: Iterable[Notice],
    at: datetime,
) -> Notice:
    row, item = look.rows[occasion[0]], look.items[occasion[0]]
    last = max((notice.hours_past for notice in told), default=None)
    passed = passed_over(reached.stage, after=last, plan=plan_of(chosen, row.what)) if last is not None else ()
    return Notice(
        rig=chosen.rig,
        obligation_key=row.key,
        what=row.what,
        stage=reached.stage.key,
        occasion=reached.occasion,
        hours_past=reached.stage.hours_past,
        due_at=reached.due_at,
        subject=row.subject[:160],
        headline=headline(reached.stage.key, row),
        reason=item.reason,
        clause=row.clause,
        passed_over=list(passed),
        created_at=at,
    )


def _store(new: list[Notice]) -> list[Notice]:
    """Store what is new and return what this sweep, and no other at the same time, made."""
    made = []
    for notice in new:
        stored, is_ours = Notice.objects.get_or_create(
            rig=notice.rig,
            obligation_key=notice.obligation_key,
            stage=notice.stage,
            occasion=notice.occasion,
            defaults={
                name: getattr(notice, name)
                for name in (
                    *("what", "hours_past", "due_at", "subject", "headline"),
                    *("reason", "clause", "passed_over", "created_at"),
                )
            },
        )
        if is_ours:
            made.append(stored)
    return made


def _close(known: Iterable[Notice], look: _Look, raised: set[Occasion], at: datetime) -> int:
    """Close the open notices that have nothing to say any more; return how many."""
    closing: dict[str, list[int]] = defaultdict(list)
    told_else = {key for key, _ in look.reached}
    for notice in known:
        key, occasion = notice.obligation_key, (notice.obligation_key, notice.occasion)
        if occasion in raised:
            closing[Closing.OVERTAKEN].append(notice.pk)
        elif occasion not in look.reached:
            row, item = look.rows.get(key), look.items.get(key)
            closing[closed_because(notice, row, item, told_else=key in told_else)].append(notice.pk)
    for why, keys in closing.items():
        Notice.objects.filter(pk__in=keys, closed_at=None).update(closed_at=at, closed_because=why)
    return sum(len(keys) for keys in closing.values())


def _reopen(look: _Look, told: Mapping[Occasion, list[Notice]], raised: set[Occasion]) -> None:
    """Open again what was closed since and holds again, as after a test that was begun and given up: told it is."""
    last = [max(told[one], key=lambda notice: notice.hours_past) for one in look.reached if told[one]]
    again = [one.pk for one in last if one.closed_at and (one.obligation_key, one.occasion) not in raised]
    if again:
        Notice.objects.filter(pk__in=again).update(closed_at=None, closed_because="")


def _noted(mark: SweepMark, *, looked_at: int, raised: int, closed: int, at: datetime) -> SweepMark:
    mark.swept_at = max(mark.swept_at or at, at)
    mark.looked_at, mark.raised, mark.closed = looked_at, raised, closed
    mark.failed_at, mark.error = None, ""
    mark.save()
    return mark


@transaction.atomic
def note_failed_sweep(rig: Rig, *, error: str, by: Actor, at: datetime) -> None:
    """Note that a sweep broke off, so that its rig shows it."""
    SweepMark.objects.update_or_create(rig=rig, defaults={"failed_at": aware(at), "error": error[:1000]})


@transaction.atomic
def escalate(rig: Rig, *, by: Actor, at: datetime) -> int:
    """Tell the rig's managers of what nobody acknowledged in time, once each; return how many notices that were."""
    aware(at)
    chosen = settings_of(rig)
    if chosen.escalate_after_hours is None:
        return 0
    _hold(rig)
    overdue = _unanswered(rig, chosen, at)
    notices = [
        notice
        for notice in overdue
        # Claimed by a conditional UPDATE: whoever changes the row tells.
        if Notice.objects.filter(pk=notice.pk, escalated_at=None, acknowledged_at=None).update(escalated_at=at)
    ]
    tell(notices, escalated_to(rig) if notices else [], chosen, purpose=Purpose.ESCALATION, at=at)
    return len(notices)


def _unanswered(rig: Rig, chosen: AlertSettings, at: datetime) -> list[Notice]:
    assert chosen.escalate_after_hours is not None
    asked = Notice.objects.filter(rig=rig, closed_at=None, acknowledged_at=None, escalated_at=None)
    asked = asked.filter(hours_past__gte=-chosen.escalate_from_hours)
    since = at - timedelta(hours=chosen.escalate_after_hours)
    return list(asked.filter(created_at__lte=since).order_by("created_at", "pk"))
