"""What the rules ask to be reported or begun once a failure is found, and by when.

The figures are those of an edition's scheduled rules on reports (30 CFR 250.730(c) in `us-ocs`); days end with the end
of the last day on the rig's clock. One that counts from another being begun has no date until that is.
"""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from calcs.recurrence import Deadline, Interval, IntervalUnit, deadline_after
from calcs.rules import Edition, Occasion
from calcs.schedule_rules import ScheduledRule, Task, TimedTrigger, stated


@dataclass(frozen=True, slots=True)
class ReportDue:
    """One thing asked after a failure.

    Attributes:
        rule: what asks for it.
        trigger: what it counts from, with its source.
        counts_from: the moment of that; None while it has not happened.
        due_at: by when, in the rig's zone, exclusive; None without an interval or a moment.
        done_at: when it was done; None while it is open.
    """

    rule: ScheduledRule
    trigger: TimedTrigger
    counts_from: dt.datetime | None
    due_at: dt.datetime | None
    done_at: dt.datetime | None

    @property
    def in_time(self) -> bool | None:
        """Tell whether it was done in time; None while it is open or no time is known."""
        if self.done_at is None or self.due_at is None:
            return None
        return self.done_at < self.due_at

    def is_late(self, at: dt.datetime) -> bool:
        """Tell whether its time has run out at a moment, with nothing done or done too late."""
        return self.due_at is not None and self.due_at <= (self.done_at or at)


def reports_due(
    edition: Edition, *, found_at: dt.datetime, done: Mapping[str, dt.datetime], zone: ZoneInfo
) -> tuple[ReportDue, ...]:
    """Return what `edition` asks after a failure found at `found_at`, in its order; nothing where it asks nothing.

    `done` says by the id of a rule when what it asks was done.
    """
    rules = [rule for rule in stated(ScheduledRule, (edition,)) if rule.task is Task.REPORT]
    moments: dict[str, dt.datetime] = {Occasion.FAILURE_FOUND: found_at}
    moments |= {rule.brings_about: done[rule.id] for rule in rules if rule.brings_about and rule.id in done}
    return tuple(
        ReportDue(rule, trigger, begun := moments.get(trigger.occasion), _due(trigger, begun, zone), done.get(rule.id))
        for rule in rules
        for trigger in _after_a_failure(rule)
    )


def _after_a_failure(rule: ScheduledRule) -> Iterator[TimedTrigger]:
    for event in rule.events:
        if isinstance(event, TimedTrigger) and event.occasion in (Occasion.FAILURE_FOUND, Occasion.ANALYSIS_BEGUN):
            yield event


def _due(trigger: TimedTrigger, begun: dt.datetime | None, zone: ZoneInfo) -> dt.datetime | None:
    if begun is None or trigger.after is None:
        return None
    return deadline_after(begun, trigger.after, _deadline(trigger.after), zone)


def _deadline(after: Interval) -> Deadline:
    return Deadline.EXACT if after.unit is IntervalUnit.HOURS else Deadline.MIDNIGHT
