"""The figures of a rig's rules as rows: the source's value, the rig's own beside it, and which is stricter."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import django_tables2 as tables
from django import forms
from django.urls import reverse
from django.utils.html import format_html
from django.utils.http import urlencode
from django.utils.safestring import SafeString

from calcs.programmes import OWN_RULE, Changeable, figures_of, rules_of
from calcs.rules import Edition, OwnFigure
from equipment.web.columns import ListTable
from equipment.web.lists import RowFilter
from tests_app.web.clauses import clauses_linked

OPEN = "not stated"


@dataclass(frozen=True)
class FigureRow:
    """One figure of one rule, as the source has it and as the rig does."""

    rule_id: str
    rule: str
    figure: str
    label: str
    clause: str
    source: str
    own: str
    compared: str
    approval: str
    direction: str
    edition: str

    @property
    def is_own(self) -> bool:
        """Tell whether the rig has an own value of it."""
        return bool(self.own)

    @property
    def words(self) -> str:
        """Return how the own value compares, with what allows it."""
        return f"{self.compared}, approved under {self.approval}" if self.approval else self.compared


def rows_of(source: Edition, own: tuple[OwnFigure, ...], edition: str) -> list[FigureRow]:
    """Return every figure of the rules that may be changed, and the rules of the rig's own at the end."""
    changed = {(one.rule_id, one.figure): one for one in own}
    rows = [
        _row(found, changed.get((found.rule.id, found.figure)), edition)
        for rule in rules_of(source)
        for found in figures_of(rule)
    ]
    return [*rows, *(_own_rule(one, edition) for one in own if one.figure == OWN_RULE)]


def _row(found: Changeable, own: OwnFigure | None, edition: str) -> FigureRow:
    where = found.kind.where(found.rule)
    return FigureRow(
        rule_id=found.rule.id,
        rule=found.rule.title,
        figure=found.figure,
        label=found.kind.label,
        clause=where.clause if where else found.rule.clause,
        source=found.source_words,
        own=own.own if own else "",
        compared=own.comparison if own else "",
        approval=own.approval if own else "",
        direction=found.kind.direction,
        edition=edition,
    )


def _own_rule(own: OwnFigure, edition: str) -> FigureRow:
    return FigureRow(
        rule_id=own.rule_id,
        rule=own.rule_title,
        figure=own.figure,
        label=own.label,
        clause=own.clause,
        source="",
        own=own.own,
        compared=own.comparison,
        approval=own.approval,
        direction="",
        edition=edition,
    )


def address_of_figure(rig_pk: int, rule_id: str, figure: str) -> str:
    """Return the page on which one figure is changed or taken back."""
    query = urlencode({"rule": rule_id, "figure": figure})
    return f"{reverse('tests_app:own-figure', args=[rig_pk])}?{query}"


class FigureFilter(RowFilter[FigureRow]):
    """By words of the rule, the figure or the clause, and by whether the rig has an own value."""

    words = forms.CharField(label="Words", required=False, max_length=80)
    which = forms.ChoiceField(
        label="Which",
        required=False,
        choices=[("", "All figures"), ("own", "The rig's own values"), ("looser", "Looser than the source")],
    )

    def keeps(self, row: FigureRow, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row has the words and is of the kind asked for."""
        said = f"{row.rule} {row.label} {row.clause} {row.rule_id}".casefold()
        if any(word not in said for word in wanted.get("words", "").casefold().split()):
            return False
        which = wanted.get("which")
        return row.compared == "looser" if which == "looser" else row.is_own or not which


class FigureTable(ListTable):
    """The figures, each with a link to change it for those who may."""

    rule = tables.Column("Rule")
    label = tables.Column("Figure")
    source = tables.Column("Source", empty_values=())
    own = tables.Column("This rig")
    compared = tables.Column("Compared")
    clause = tables.Column("Clause")
    change = tables.Column("", accessor="figure", orderable=False, exclude_from_export=True)

    class Meta:
        empty_text = "No figure matches."
        default = "–"

    def __init__(self, *args: Any, rig_pk: int = 0, may_manage: bool = False, **options: Any) -> None:
        self.rig_pk = rig_pk
        super().__init__(*args, exclude=() if may_manage else ("change",), **options)

    def render_source(self, value: str) -> str:
        return value or OPEN

    def value_source(self, value: str) -> str:
        return value or OPEN

    def render_own(self, value: str) -> SafeString:
        return format_html("<strong>{}</strong>", value)

    def value_own(self, value: str) -> str:
        return value

    def render_compared(self, record: FigureRow) -> str:
        return record.words

    def value_compared(self, record: FigureRow) -> str:
        return record.words

    def render_clause(self, value: str, record: FigureRow) -> SafeString | str:
        return clauses_linked(value, record.edition)

    def value_clause(self, value: str) -> str:
        return value

    def render_change(self, record: FigureRow) -> SafeString:
        address = address_of_figure(self.rig_pk, record.rule_id, record.figure)
        words = "Take back" if record.figure == OWN_RULE else "Change"
        return format_html('<a href="{}">{}<span class="visually-hidden"> {}</span></a>', address, words, record.label)
