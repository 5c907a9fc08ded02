"""Words of defects: how one stands, its severity, and the reports it calls for with their dates."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from calcs.failure_reports import ReportDue
from calcs.moments import limit_words, moment_words
from calcs.rule_words import OCCASION_WORDS
from calcs.rules import Occasion
from tests_app.models import Defect, DefectReport, Severity
from tests_app.queries.defects import DefectState, Standing

STATES: Final[Mapping[DefectState, tuple[str, str]]] = {
    DefectState.OPEN: ("not-passed", "Open"),
    DefectState.PUT_RIGHT: ("not-proven", "Put right, not proven yet"),
    DefectState.PROVEN: ("passed", "Proven by a retest"),
    DefectState.DISPOSED: ("superseded", "Closed as approved"),
}
"""The mark and the words of each state, what presses most first."""
SEVERITY_ORDER: Final = tuple(Severity.values)


def stands(standing: Standing) -> tuple[str, str]:
    """Return the key of the state mark of a defect and its words."""
    return STATES[standing.state]


def to_show(defect: Defect) -> str:
    """Return what a retest has to show, in words."""
    if defect.shown_by == "neither":
        return "No test shows it: only an approved disposition closes it."
    kind = "A function test" if defect.shown_by == "function" else "A pressure test"
    parts = [f"{kind} of {defect.subject}"]
    if defect.pressure_from:
        parts.append(defect.get_pressure_from_display().lower())
    if defect.pressure:
        parts.append(f"at no less than {defect.pressure}")
    if defect.low_asked:
        parts.append("a low test with it")
    if defect.closed_on:
        parts.append(f"on {defect.pipe} pipe" if defect.pipe else f"on {defect.get_closed_on_display().lower()}")
    return f"{', '.join(parts)}: passed, sealed, and made after the last work on it."


@dataclass(frozen=True)
class ReportRow:
    """One report the rules ask, as the page of its defect shows it."""

    due: ReportDue
    entered: DefectReport | None
    zone: ZoneInfo
    at: datetime

    @property
    def title(self) -> str:
        """What is asked."""
        return self.due.rule.title

    @property
    def note(self) -> str:
        """What the rule says beside it."""
        return self.due.rule.note

    @property
    def clause(self) -> str:
        """Where it stands."""
        return self.due.trigger.source.clause

    @property
    def confidence(self) -> str:
        """How surely its time is known."""
        return self.due.trigger.source.confidence

    @property
    def limit(self) -> str:
        """By when, in words."""
        if self.due.due_at is not None:
            return limit_words(self.due.due_at, self.zone)
        occasion = OCCASION_WORDS[Occasion(self.due.trigger.occasion)]
        if self.due.trigger.after is not None:
            return f"{self.due.trigger.after.words} {occasion}"
        return "The rules give no time."

    @property
    def state(self) -> tuple[str, str]:
        """The key of its state mark, and its words."""
        if self.due.done_at is not None:
            done = moment_words(self.due.done_at, self.zone)
            return ("not-passed", f"Done late, {done}") if self.due.is_late(self.at) else ("passed", f"Done {done}")
        if self.due.is_late(self.at):
            return "overdue", "Overdue"
        return ("draft", "Open") if self.due.due_at is None else ("due-soon", "Not done yet")

    @property
    def may_be_entered(self) -> bool:
        """Tell whether it may be entered now: what it counts from has happened."""
        return self.due.counts_from is not None


def report_rows(standing: Standing, at: datetime) -> list[ReportRow]:
    """Return the reports of a defect in the order of the rules."""
    entered = {one.rule_id: one for one in standing.defect.reports.all()}
    zone = standing.defect.rig.zone
    return [ReportRow(due, entered.get(due.rule.id), zone, at) for due in standing.reports]


def no_reports_words(standing: Standing) -> str:
    """Return why no report is asked, in words; "" where one is."""
    if standing.reports:
        return ""
    if standing.in_error:
        return "Nothing had failed, so nothing is reported."
    if not standing.defect.edition:
        return "The rig followed no rules when it was found: whether and when to report it is not known here."
    if standing.edition is None:
        return f"The rules followed then, {standing.defect.edition}, can't be read any more: no date is known here."
    return f"{standing.edition.title} gives no time for reporting a failure: no date is shown."
