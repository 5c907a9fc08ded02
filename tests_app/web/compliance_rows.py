"""The compliance page's lists: which rows stay, and the table of each time a requirement was not met."""

from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any, Final

import django_tables2 as tables
from django import forms
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from accounts.templatetags.wellhold import state
from calcs.conditions import Condition
from calcs.due_working import length_words
from equipment.web.columns import ListTable, MomentColumn
from equipment.web.lists import RowFilter
from tests_app.documents.compliance_rows import STATE_OF, CourseRow, GapRow
from tests_app.models import PartOfSystem, What
from tests_app.web.clauses import clauses_linked
from tests_app.web.past_links import origin_link, why_address

_NAMED: Final = 3
"""Elements named before the rest are counted."""


class PastFilter(RowFilter[Any]):
    """The last month, part of the system, what, how it was not met, a word of the name, only what has gaps."""

    month = forms.ChoiceField(label="Twelve months to", required=False)
    part = forms.ChoiceField(label="Part", required=False, choices=[("", "All"), *PartOfSystem.choices])
    what = forms.ChoiceField(label="What", required=False, choices=[("", "All"), *What.choices])
    how = forms.ChoiceField(
        label="How",
        required=False,
        choices=[("", "All"), ("overdue", "Overdue"), ("open", "Open since an event"), ("deferred", "Deferred")],
    )
    text = forms.CharField(label="Name or serial", required=False, max_length=60)
    only = forms.BooleanField(label="Only with gaps", required=False)

    def __init__(self, *args: Any, months: Sequence[tuple[str, str]] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["month"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = list(months)

    def keeps(self, row: CourseRow | GapRow, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays."""
        how = wanted.get("how", "")
        is_course = isinstance(row, CourseRow)
        gaps = row.course.gaps if isinstance(row, CourseRow) else row.gaps
        return (
            wanted.get("part", "") in ("", row.part)
            and wanted.get("what", "") in ("", row.what)
            and (not how or any(gap.exceedance.condition == how for gap in gaps))
            and (not is_course or not wanted.get("only") or bool(gaps))
            and wanted.get("text", "").casefold() in row.text.casefold()
        )


class GapTable(ListTable):
    """Every time a requirement was not met."""

    how = tables.Column("How", accessor="condition")
    element = tables.Column("Requirement", accessor="names")
    begin = MomentColumn("From")
    end = MomentColumn("Until", default="")
    length = tables.Column("How long")
    why = tables.Column("Why", orderable=False, attrs={"td": {"class": "gap-why"}})
    clause = tables.Column("Clause")
    ended = tables.Column("What ended it", orderable=False)

    class Meta:
        empty_text = "No requirement was left unmet in these months, as far as these filters show."

    def render_how(self, value: Condition) -> SafeString:
        return state(*STATE_OF[value])

    def value_how(self, value: Condition) -> str:
        return STATE_OF[value][1]

    def render_element(self, record: GapRow) -> SafeString:
        named, rest = record.gaps[:_NAMED], len(record.gaps) - _NAMED
        links = format_html_join(
            ", ",
            '<a href="{}">{}</a>',
            ((why_address(record.rig_pk, gap.key, at=record.begin), gap.subject.name) for gap in named),
        )
        if rest > 0:
            others = ", ".join(gap.subject.name for gap in record.gaps[_NAMED:])
            links = format_html(
                '{} <details class="more"><summary>and {} more</summary><p>{}</p></details>', links, rest, others
            )
        detail = record.first.subject.detail if len(record.gaps) == 1 else ""
        return format_html(
            '{}<br><span class="small">{}</span> <span class="small soft">{}</span>', links, record.what.label, detail
        )

    def value_element(self, record: GapRow) -> str:
        subject = record.first.subject
        return ", ".join(filter(None, (f"{record.what.label}: {subject.name}", subject.detail)))

    def render_length(self, value: timedelta, record: GapRow) -> SafeString | str:
        words = length_words(value)
        words = words if record.end is not None else f"{words} so far"
        if record.in_window == value:
            return words
        return format_html(
            '{}<br><span class="small soft">{} in these months</span>', words, length_words(record.in_window)
        )

    def value_length(self, value: timedelta) -> float:
        return round(value.total_seconds() / 3600, 2)

    def render_why(self, value: str, record: GapRow) -> SafeString:
        deferral = origin_link(record.deferral)
        where = format_html(" ({})", deferral) if deferral else ""
        return format_html("{}{} {}", value, where, record.waited)

    def value_why(self, value: str, record: GapRow) -> str:
        return record.why_on_paper

    def render_clause(self, value: str, record: GapRow) -> SafeString | str:
        return clauses_linked(value, record.edition)

    def value_clause(self, value: str) -> str:
        return value

    def render_ended(self, record: GapRow) -> SafeString | str:
        origin = record.origin
        return format_html("{} ({})", record.ended, origin_link(origin)) if origin else record.ended

    def value_ended(self, record: GapRow) -> str:
        return record.ended
