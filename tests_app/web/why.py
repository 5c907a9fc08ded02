"""Why is this due? One obligation's date worked out step by step: rule, clause, events, sum, as of any moment."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from http import HTTPStatus
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from accounts.presentation import quantity_beside_unit
from calcs.due_working import Part, SumLine, Weighed, sum_of, weighed
from calcs.moments import limit_words, moment_words
from calcs.recurrence import Deferred, Doing, Event, EventKind, Section, Tested
from calcs.rules import Edition, OwnFigure
from calcs.units import Dimension
from equipment.models import Rig
from equipment.queries import access
from tests_app.documents.compliance_rows import STATE_OF
from tests_app.models import ProgrammeCopy
from tests_app.queries.deriving import Derived
from tests_app.queries.deriving.derived import doing_of
from tests_app.queries.origins import Origins
from tests_app.queries.owed import owed_on
from tests_app.queries.past import Stood, standing_at
from tests_app.queries.programmes import origins_of_figures
from tests_app.queries.waiting import deferral_in_force, deferrals_of, postponement_in_force, postponements_of
from tests_app.web.as_of_form import AsOfForm
from tests_app.web.entry import Visit, signed_in
from tests_app.web.past_links import origin_link
from tests_app.web.rule_sheets import Requirement, sheet_of
from tests_app.web.rule_titles import edition_named, full_title

_HAPPENED: Final[Mapping[EventKind, str]] = {
    EventKind.INSTALLED: "Installed",
    EventKind.REPAIRED: "Repaired",
    EventKind.BACK_IN_SERVICE: "Back in service",
    EventKind.OUT_OF_SERVICE: "Taken out of service",
}


@dataclass(frozen=True)
class EventRow:
    """An event of the history: when, what, where it stands on file, and what it does to the date."""

    at: datetime
    words: str
    link: SafeString | str
    counts: bool
    why: str


@dataclass(frozen=True)
class OwnValue:
    """A figure of the rule the rig changed, and the copy of the rules in which it did; None where that is not known."""

    figure: OwnFigure
    copy: ProgrammeCopy | None


@dataclass(frozen=True)
class Ruling:
    """The rule a date follows, in our words.

    Attributes:
        edition: the edition it stands in.
        title: what that is called.
        requirement: everything the rule says; None where no rule of it is behind the date.
        own: its figures the rig changed.
    """

    edition: Edition
    title: str
    requirement: Requirement | None
    own: tuple[OwnValue, ...]


@require_GET
@signed_in
def show(request: HttpRequest, rig_pk: int, key: str) -> HttpResponse:
    """Show the whole chain of reasons behind one date, as of a moment."""
    rig = access.rig_for(request.user, rig_pk)
    owed = owed_on(rig, key)
    visit = Visit.of(request, rig)
    form = AsOfForm.asked(request.GET, zone=rig.zone, now=visit.at, auto_id="as-of-%s")
    base = {"form": form, "key": key, "name": owed.subject, "what": owed.what.label, "detail": owed.detail}
    if not form.is_valid():
        return visit.show(request, "tests_app/why.html", base, status=HTTPStatus.BAD_REQUEST)
    at, known_at = form.moment, form.known_at
    asked = standing_at(rig, at, known_at)
    stood = next((row for row in asked.rows if row.derived.key == key), None)
    context = {**base, "moment": moment_words(at, rig.zone), "known": form.known_key}
    if stood is not None:
        context |= _chain(stood, rig, at, known_at, visit)
    return visit.show(request, "tests_app/why.html", context)


def _chain(stood: Stood, rig: Rig, at: datetime, known_at: datetime | None, visit: Visit) -> dict[str, Any]:
    derived = stood.derived
    due, zone = stood.due, rig.zone
    rows = event_rows(derived, Origins.of(rig), at, zone, visit)
    return {
        "stood": stood,
        "derived": derived,
        "name": derived.subject.name,
        "detail": derived.subject.detail,
        "state_key": STATE_OF[stood.condition][0],
        "state_word": STATE_OF[stood.condition][1],
        "ruling": ruling_of(derived),
        "counting": [row for row in rows if row.counts],
        "left_out": [row for row in reversed(rows) if not row.counts],
        "later": len(derived.history) - len(rows),
        "sum": sum_lines(derived, at, zone),
        "amber": limit_words(due.amber_at, zone) if due and due.amber_at else "",
        "limit": limit_words(due.due_at, zone) if due and due.due_at else "",
        "deferral": deferral_in_force(deferrals_of(rig, known_at).get(derived.key, ()), at),
        "postponement": postponement_in_force(postponements_of(rig, known_at).get(derived.key, ()), at),
    }


def event_rows(derived: Derived, origins: Origins, at: datetime, zone: ZoneInfo, visit: Visit) -> list[EventRow]:
    """Return the events known at a moment, in order, each with where it stands on file and what it does."""
    doing = doing_of(derived.what)
    forget = derived.clock(zone).forget
    found = weighed(derived.history, at=at, zone=zone, forget=forget, doing=doing)
    return [_event_row(one, derived, origins, doing, visit) for one in found]


def _event_row(one: Weighed, derived: Derived, origins: Origins, doing: Doing, visit: Visit) -> EventRow:
    origin = origins.find(one.event, derived.what, derived.subject, derived.key)
    words = _event_words(one.event, doing, visit)
    return EventRow(one.at, words, origin_link(origin), one.part is Part.COUNTS, one.why)


def _event_words(event: Event, doing: Doing, visit: Visit) -> str:
    if isinstance(event, Tested):
        return _test_words(event, doing, visit)
    if isinstance(event, Section):
        return f"Hole section begun{_pressure(event.required_gauge, visit, 'tests at')}"
    if isinstance(event, Deferred):
        return "Deferral granted"
    return _HAPPENED[event.kind]


def _test_words(test: Tested, doing: Doing, visit: Visit) -> str:
    noun = f"{doing.noun[:1].upper()}{doing.noun[1:]}"
    begun = moment_words(test.started, visit.rig.zone)
    if test.concluded is None:
        return f"{noun} begun {begun}"
    result = "passed" if test.passed else "failed"
    return f"{noun}{_pressure(test.pressure_gauge, visit, 'at')}, begun {begun}, {result}"


def _pressure(gauge: float | None, visit: Visit, before: str) -> str:
    if gauge is None:
        return ""
    return f" {before} {quantity_beside_unit(gauge, Dimension.PRESSURE, visit.units)}"


def sum_lines(derived: Derived, at: datetime, zone: ZoneInfo) -> Sequence[SumLine]:
    """Return the sum behind a date; for a date that stands on a paper, that it does."""
    if derived.error or derived.requirement is None:
        return ()
    if derived.stated is not None:
        limit = derived.stated.limit
        return (SumLine("Stands on file", limit_words(limit, zone)),) if limit is not None else ()
    clock, doing = derived.clock(zone), doing_of(derived.what)
    return sum_of(clock.interval, clock.deadline, derived.history, at=at, zone=zone, forget=clock.forget, doing=doing)


def ruling_of(derived: Derived) -> Ruling | None:
    """Return the rule a date follows; None where no edition asks for it."""
    asked = derived.requirement
    edition = edition_named(asked.edition) if asked is not None and asked.edition else None
    if asked is None or edition is None:
        return None
    found = next((one for one in sheet_of(edition).requirements if one.rule.id == asked.rule_id), None)
    changed = [figure for figure in edition.own if figure.rule_id == asked.rule_id]
    copies = origins_of_figures(edition.id) if changed else {}
    own = tuple(OwnValue(figure, copies.get((figure.rule_id, figure.figure))) for figure in changed)
    return Ruling(edition, full_title(edition), found, own)
