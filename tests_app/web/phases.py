"""The overhauls of years, component by component, so that the work can be spread."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from equipment.models import ComponentKind
from equipment.queries import access
from equipment.queries.access import Right
from equipment.web.columns import ListTable, MomentColumn, StateColumn
from equipment.web.lists import RowFilter, listed
from tests_app.errors import NoRules
from tests_app.queries.phases import NO_DATE, Phase, phases_of
from tests_app.queries.requirements import edition_of
from tests_app.web.clauses import clauses_linked
from tests_app.web.due_words import STATE_CHOICES, STATE_KEYS, deadline_text, distance_text
from tests_app.web.entry import Visit, signed_in

_LAST_YEARS: Final = 6
"""So many calendar years are counted in the head of the page: an interval of five and the one that runs."""


@dataclass(frozen=True)
class PhaseRow:
    """One component and its overhaul."""

    phase: Phase
    at: datetime
    zone: ZoneInfo
    may_work: bool

    @property
    def state(self) -> str:
        """Return the key of the state mark; what nothing is on file of can't be worked out."""
        return "unknown" if self.phase.start is None else STATE_KEYS[self.phase.state]

    @property
    def words(self) -> str:
        """Return the state in words."""
        due_at = self.phase.due_at
        if due_at is None:
            return "No date on file"
        distance = distance_text(due_at, self.at)
        if due_at <= self.at:
            return f"Overdue by {distance.removesuffix(' ago')}"
        return f"{dict(STATE_CHOICES)[self.phase.state]}, due {distance}"

    @property
    def standing(self) -> "PhaseRow":
        """Return the row, as the state column reads it."""
        return self

    @property
    def component(self) -> str:
        """Return the component's name."""
        return str(self.phase.component)

    @property
    def place(self) -> str:
        """Return where it stands."""
        placed = self.phase.installation
        return f"{placed.position.name}, {placed.position.stack.name}" if placed else "Spare"

    @property
    def counts_from(self) -> str:
        """Return what its years count from, in words."""
        return self.phase.start.words if self.phase.start else NO_DATE

    @property
    def since(self) -> datetime | None:
        """Return the moment its years count from."""
        return self.phase.start.at if self.phase.start else None

    @property
    def due_at(self) -> datetime | None:
        """Return when it falls due."""
        return self.phase.due_at

    @property
    def due_text(self) -> str:
        """Return when it falls due, in words."""
        return deadline_text(self.due_at, self.zone) if self.due_at else ""

    @property
    def urgency(self) -> float:
        """Return the date, what has none first."""
        return self.due_at.timestamp() if self.due_at else float("-inf")


class PhaseFilter(RowFilter[PhaseRow]):
    """State, kind and a word of the name."""

    state = forms.ChoiceField(
        label="State",
        required=False,
        choices=[
            ("", "Any"),
            ("overdue", "Overdue"),
            ("due-soon", "Due soon"),
            ("in-date", "In date"),
            ("unknown", "No date on file"),
        ],
    )
    kind = forms.ChoiceField(label="Kind", required=False, choices=[("", "All"), *ComponentKind.choices])
    text = forms.CharField(label="Name, serial or place", required=False, max_length=60)

    def keeps(self, row: PhaseRow, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays."""
        return (
            wanted.get("state", "") in ("", row.state)
            and wanted.get("kind", "") in ("", row.phase.component.kind)
            and wanted.get("text", "").casefold() in f"{row.component} {row.place}".casefold()
        )


class PhaseTable(ListTable):
    """Components by when their overhaul falls due."""

    standing = StateColumn("State", order_by="urgency")
    component = tables.Column("Component")
    place = tables.Column("Where it stands")
    counts_from = tables.Column("Counts from")
    since = MomentColumn("Since")
    due_text = tables.Column("Overhaul begun before", order_by="urgency", attrs={"td": {"class": "deadline"}})
    clause = tables.Column("Clause", accessor="phase__rule__clause", orderable=False)
    enter = tables.Column("Enter", accessor="phase__key", orderable=False, exclude_from_export=True)

    class Meta:
        empty_text = "No component matches. Show all, or look whether the rules of the rig ask for overhauls."

    def __init__(self, *args: Any, edition: str = "", rig_pk: int = 0, may_work: bool = False, **options: Any) -> None:
        self.edition, self.rig_pk = edition, rig_pk
        super().__init__(*args, exclude=() if may_work else ("enter",), **options)

    def render_component(self, value: str, record: PhaseRow) -> SafeString:
        return format_html(
            '<a href="{}">{}</a>', reverse("equipment:component", args=[record.phase.component.pk]), value
        )

    def render_clause(self, value: str) -> SafeString | str:
        return clauses_linked(value, self.edition)

    def render_enter(self, value: str) -> SafeString:
        address = reverse("tests_app:work-new", args=[self.rig_pk])
        return format_html('<a href="{}?key={}">Enter the overhaul</a>', address, value)

    def value_component(self, value: str) -> str:
        return value

    def value_clause(self, value: str) -> str:
        return value

    def value_due_text(self, record: PhaseRow) -> str:
        return record.due_at.astimezone(record.zone).isoformat(timespec="minutes") if record.due_at else ""


@dataclass(frozen=True)
class Year:
    """How many overhauls fall due in a calendar year of the rig."""

    year: str
    count: int


@require_GET
@signed_in
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show every component with the date of its overhaul."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    try:
        edition = edition_of(rig)
    except NoRules as none:
        return visit.show(request, "tests_app/phases.html", {"no_rules": none})
    may_work = visit.may(Right.WORK)
    phases = phases_of(rig, edition, at=visit.at)
    found = listed(
        request,
        [PhaseRow(phase, visit.at, rig.zone, may_work) for phase in phases],
        PhaseTable,
        filter_class=PhaseFilter,
        table_options={
            "zone": rig.zone,
            "units": visit.units,
            "edition": edition.id,
            "rig_pk": rig.pk,
            "may_work": may_work,
        },
        file_name=f"overhauls-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    context = {**found.context(), "years": years_of(phases, visit.at, rig.zone), "asked": bool(phases)}
    return visit.show(request, "tests_app/phases.html", context)


def years_of(phases: Sequence[Phase], at: datetime, zone: ZoneInfo) -> list[Year]:
    """Return how many overhauls fall due in each calendar year, what is overdue by itself and first."""
    dated = [phase.due_at for phase in phases if phase.due_at is not None]
    counts = Counter(due_at.astimezone(zone).year for due_at in dated if due_at > at)
    overdue = sum(due_at <= at for due_at in dated)
    this_year = at.astimezone(zone).year
    named = [(str(year), counts.get(year, 0)) for year in range(this_year, this_year + _LAST_YEARS)]
    if overdue:
        named.insert(0, ("Overdue", overdue))
    return [Year(name, count) for name, count in named]
