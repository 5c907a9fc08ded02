"""The coverage of a stack as a list: every barrier and side, and by which step of which test it was last proved."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from calcs.units import Dimension, to_si
from equipment.models import PositionGroup
from equipment.queries import stacks
from equipment.web.columns import ListTable, MomentColumn, QuantityColumn, StateColumn
from equipment.web.lists import RowFilter, listed
from tests_app.models import Step
from tests_app.queries.coverage import Covered, coverage_of
from tests_app.web.entry import Visit, signed_in

_STATES: Final[Mapping[str, tuple[str, str]]] = {
    "never": ("not-proven", "Never proved here"),
    "failed": ("not-passed", "Not passed since"),
    "proved": ("passed", "Proved"),
    "unasked": ("not-judged", "Not proved, not asked"),
}
"""Every way a side stands, with its mark and words, the most pressing first."""


@dataclass(frozen=True)
class CoverageRow:
    """One barrier from one side, ready to sort, filter and show."""

    covered: Covered

    @property
    def standing(self) -> "CoverageRow":
        """Return the row, as the state column reads it."""
        return self

    @property
    def key(self) -> str:
        """Return how it stands."""
        if self.covered.failed is not None:
            return "failed"
        if self.covered.step is not None:
            return "proved"
        return "never" if self.covered.is_asked else "unasked"

    @property
    def state(self) -> str:
        """Return the key of the state mark."""
        return _STATES[self.key][0]

    @property
    def words(self) -> str:
        """Return the state in words."""
        return _STATES[self.key][1]

    @property
    def rank(self) -> int:
        """Return the place: what was never proved first."""
        return list(_STATES).index(self.key)

    @property
    def place(self) -> tuple[int, str]:
        """Return where it stands in the stack, top first."""
        return self.covered.position.order, self.covered.side

    @property
    def barrier(self) -> str:
        """Return the name of the position with what stands in it."""
        return f"{self.covered.position.name}, {self.covered.component}"

    @property
    def side(self) -> str:
        """Return the side in words."""
        return str(self.covered.side.label)

    @property
    def asked(self) -> str:
        """Return whether the rules ask for it, in a word."""
        return "Yes" if self.covered.is_asked else "No"

    @property
    def high(self) -> float | None:
        """Return the pressure it was held at, at least; gauge, Pa."""
        held = self.covered.held
        return None if held is None else to_si(held.value, held.unit, Dimension.PRESSURE)

    @property
    def high_key(self) -> float:
        """Return the same to sort by: what was never held comes first."""
        return self.high or 0.0

    @property
    def proved_at(self) -> datetime | None:
        """Return when it was last proved."""
        return self.covered.proved_at

    @property
    def proved_key(self) -> float:
        """Return the same to sort by: what was never proved comes first."""
        return self.proved_at.timestamp() if self.proved_at else 0.0

    @property
    def step(self) -> str:
        """Return the step that proved it, in words."""
        return _step_words(self.covered.step)

    @property
    def failed(self) -> str:
        """Return the later step that it did not pass, in words."""
        return _step_words(self.covered.failed)


def _step_words(step: Step | None) -> str:
    return f"Test {step.record.number}, step {step.order}: {step.name}" if step else ""


class CoverageFilter(RowFilter[CoverageRow]):
    """How it stands, which part, whether it is asked for, a word of the name."""

    state = forms.ChoiceField(
        label="State", required=False, choices=[("", "Any"), *((key, words) for key, (_, words) in _STATES.items())]
    )
    part = forms.ChoiceField(label="Part", required=False, choices=[("", "All"), *PositionGroup.choices])
    asked = forms.ChoiceField(
        label="Asked by the rules", required=False, choices=[("", "All"), ("Yes", "Yes"), ("No", "No")]
    )
    before = forms.DateField(label="Last proved before", required=False, widget=forms.DateInput(attrs={"type": "date"}))
    text = forms.CharField(label="Name or serial", required=False, max_length=60)

    def keeps(self, row: CoverageRow, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays; what was never proved was not proved before any day either."""
        before = wanted.get("before")
        zone = row.covered.position.stack.rig.zone
        return (
            wanted.get("state", "") in ("", row.key)
            and wanted.get("part", "") in ("", row.covered.position.group)
            and wanted.get("asked", "") in ("", row.asked)
            and (before is None or row.proved_at is None or row.proved_at.astimezone(zone).date() < before)
            and wanted.get("text", "").casefold() in row.barrier.casefold()
        )


class CoverageTable(ListTable):
    """Every barrier and side of a stack."""

    standing = StateColumn("State", order_by="rank")
    barrier = tables.Column("Barrier", order_by="place")
    side = tables.Column("Pressure", order_by=("side", "place"))
    asked = tables.Column("Asked", order_by=("asked", "place"))
    high = QuantityColumn(Dimension.PRESSURE, "Held at least", order_by="high_key")
    proved_at = MomentColumn("Last proved", order_by="proved_key")
    step = tables.Column("By", orderable=False)
    failed = tables.Column("Not passed since, in", orderable=False, visible=False)

    class Meta:
        empty_text = "Nothing matches. Show all, or install components in the stack first."

    def render_barrier(self, record: CoverageRow) -> SafeString:
        component = record.covered.component
        return format_html(
            '<a href="{}">{}</a><br><span class="small soft">{}</span>',
            reverse("equipment:component", args=[component.pk]),
            record.covered.position.name,
            component,
        )

    def value_barrier(self, value: str) -> str:
        return value

    def render_step(self, record: CoverageRow) -> SafeString:
        failed = record.covered.failed
        shown = _step_link(record.covered.step)
        return format_html("{}<br>Not passed in {}", shown, _step_link(failed)) if failed else shown

    def value_step(self, value: str) -> str:
        return value


def _step_link(step: Step | None) -> SafeString:
    if step is None:
        return format_html('<span class="soft">{}</span>', "No signed test")
    return format_html(
        '<a href="{}">Test {}</a>, step {} <span class="small soft">{}</span>',
        reverse("tests_app:record", args=[step.record_id]),
        step.record.number,
        step.order,
        step.name,
    )


@require_GET
@signed_in
def show(request: HttpRequest, stack_pk: int) -> HttpResponse:
    """Show by which step each barrier and side of a stack was last proved."""
    stack = stacks.stack_for(request.user, stack_pk)
    visit = Visit.of(request, stack.rig)
    rows = [CoverageRow(one) for one in coverage_of(stack, at=visit.at)]
    found = listed(
        request,
        rows,
        CoverageTable,
        filter_class=CoverageFilter,
        table_options={"zone": visit.rig.zone, "units": visit.units},
        file_name=f"coverage-{stack.pk}",
        page_rows=100,
    )
    if found.export is not None:
        return found.export
    context = {**found.context(), "stack": stack, "figures": _figures(rows)}
    return visit.show(request, "tests_app/coverage.html", context)


def _figures(rows: Sequence[CoverageRow]) -> Iterable[tuple[str, str, int]]:
    """Return how many sides stand in each way: key, words, count."""
    counted = [(key, words, sum(row.key == key for row in rows)) for key, (_, words) in _STATES.items()]
    return [one for one in counted if one[2]]
