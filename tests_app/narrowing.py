"""How lists of tests, work and alerts are narrowed: the same filters for the pages and for the API."""

from collections.abc import Mapping
from typing import Any, Final

import django_filters
from django import forms
from django.db.models import F, Q, QuerySet, Value
from django.db.models.functions import Coalesce
from django.db.models.lookups import Exact

from equipment.models import Rig, Stack
from tests_app.models import Completion, Notice, Record, RecordKind, TestReason, What
from tests_app.queries.alerts import unseen_by
from tests_app.queries.corrections import keys_corrected
from tests_app.queries.owed import ENTERED_AS_WORK

SUPERSEDED: Final = "superseded"
_HEADINGS: Final = ("pressure_test", "drawdown_test", "pump_test", "function_test")
REASON_OF_TEST: Final = Coalesce(*(f"{heading}__reason" for heading in _HEADINGS))
_RECORD_STATES: Final = {
    "draft": ("Draft", Q(frozen_at=None, discarded_at=None)),
    "waiting": ("Waiting for signatures", Q(frozen_at__isnull=False, sealed_at=None, superseded_by=None)),
    "passed": ("Signed, passed", Q(sealed_at__isnull=False, passed=True)),
    "not-passed": ("Signed, not passed", Q(sealed_at__isnull=False, passed=False)),
    SUPERSEDED: ("Superseded", Q(superseded_by__isnull=False)),
    "discarded": ("Discarded", Q(discarded_at__isnull=False)),
}


class RecordFilter(django_filters.FilterSet):
    """State, kind, stack, reason, days and number."""

    state = django_filters.ChoiceFilter(
        label="State",
        method="of_state",
        empty_label="Any",
        choices=[(key, words) for key, (words, _) in _RECORD_STATES.items()],
    )
    kind = django_filters.ChoiceFilter(label="Kind", choices=RecordKind.choices, empty_label="All")
    stack = django_filters.ModelChoiceFilter(label="Stack", queryset=Stack.objects.none(), empty_label="All")
    reason = django_filters.ChoiceFilter(
        label="Reason", method="for_reason", choices=TestReason.choices, empty_label="Any"
    )
    since = django_filters.DateFilter(
        label="Began on or after",
        field_name="started_at",
        lookup_expr="date__gte",
        widget=forms.DateInput({"type": "date"}),
    )
    number = django_filters.NumberFilter(label="Number")

    class Meta:
        model = Record
        fields: list[str] = []

    def __init__(self, *args: Any, stacks: QuerySet[Stack], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.filters["stack"].queryset = stacks

    def of_state(self, queryset: QuerySet[Record], _: str, value: str) -> QuerySet[Record]:
        """Narrow to one state."""
        found = queryset.filter(_RECORD_STATES[value][1])
        if value == SUPERSEDED:
            found = found.filter(Q(sealed_at=None) | Q(pk__in=keys_corrected(found)))
        return found

    def for_reason(self, queryset: QuerySet[Record], _: str, value: str) -> QuerySet[Record]:
        """Narrow to one reason, whatever was tested."""
        return queryset.alias(asked=REASON_OF_TEST).filter(Exact(F("asked"), Value(value)))


WORK_STATES: Final[Mapping[str, tuple[str, str, Q]]] = {
    "passed": ("passed", "Passed", Q(withdrawn_at__isnull=True, passed=True)),
    "not-passed": ("not-passed", "Not passed", Q(withdrawn_at__isnull=True, passed=False)),
    "withdrawn": ("superseded", "Withdrawn", Q(withdrawn_at__isnull=False)),
}
_KINDS: Final = [(what.value, what.label) for what in What if what in {*ENTERED_AS_WORK, What.PRESSURE, What.FUNCTION}]


def _day(label: str, lookup: str) -> django_filters.DateFilter:
    return django_filters.DateFilter(
        label=label, field_name="concluded_at", lookup_expr=lookup, widget=forms.DateInput({"type": "date"})
    )


class WorkFilter(django_filters.FilterSet):
    """What was done, how it went, on what, and when."""

    what = django_filters.ChoiceFilter(label="What", choices=_KINDS, empty_label="All")
    result = django_filters.ChoiceFilter(
        label="Result",
        method="of_state",
        empty_label="Any",
        choices=[(key, words) for key, (_, words, _) in WORK_STATES.items()],
    )
    text = django_filters.CharFilter(label="Name, serial or by whom", method="named")
    since = _day("On or after", "date__gte")
    until = _day("On or before", "date__lte")

    class Meta:
        model = Completion
        fields: list[str] = []

    def of_state(self, queryset: QuerySet[Completion], _: str, value: str) -> QuerySet[Completion]:
        """Narrow to one result."""
        return queryset.filter(WORK_STATES[value][2])

    def named(self, queryset: QuerySet[Completion], _: str, value: str) -> QuerySet[Completion]:
        """Narrow to a word of the subject or of who did it."""
        return queryset.filter(Q(subject__icontains=value) | Q(done_by__icontains=value))


STANDINGS: Final = (
    ("open", "Open, not acknowledged"),
    ("acknowledged", "Acknowledged"),
    ("closed", "Closed"),
)
_STANDING: Final = {
    "open": Q(closed_at=None, acknowledged_at=None),
    "acknowledged": Q(closed_at=None, acknowledged_at__isnull=False),
    "closed": Q(closed_at__isnull=False),
}
_STAGES: Final = {
    "before": ("Before the due date", Q(hours_past__lt=0)),
    "overdue": ("Overdue", Q(stage__startswith="overdue")),
    "due-now": ("Due now", Q(stage="due-now")),
    "not-passed": ("Last test not passed", Q(stage="not-passed")),
    "unknown": ("Cannot be worked out", Q(stage="unknown")),
}


class NoticeFilter(django_filters.FilterSet):
    """Standing, stage, what has to be done, and a word."""

    standing = django_filters.ChoiceFilter(label="Stands", method="stands", empty_label="Any", choices=STANDINGS)
    stage = django_filters.ChoiceFilter(
        label="Stage",
        method="of_stage",
        empty_label="Any",
        choices=[(key, words) for key, (words, _) in _STAGES.items()],
    )
    what = django_filters.ChoiceFilter(label="What", choices=What.choices, empty_label="All")
    text = django_filters.CharFilter(label="Word", field_name="headline", lookup_expr="icontains", max_length=80)

    class Meta:
        model = Notice
        fields: list[str] = []

    def stands(self, queryset: QuerySet[Notice], _: str, value: str) -> QuerySet[Notice]:
        """Narrow to how a notice stands."""
        return queryset.filter(_STANDING[value])

    def of_stage(self, queryset: QuerySet[Notice], _: str, value: str) -> QuerySet[Notice]:
        """Narrow to a stage."""
        return queryset.filter(_STAGES[value][1])


class OwnNoticeFilter(NoticeFilter):
    """The same, by rig and by what is new to the person."""

    rig = django_filters.ModelChoiceFilter(label="Rig", queryset=Rig.objects.none(), empty_label="All")
    unseen = django_filters.ChoiceFilter(
        label="Seen", method="by_seen", empty_label="Any", choices=[("new", "New to you"), ("seen", "Seen")]
    )

    def __init__(self, *args: Any, rigs: QuerySet[Rig], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.filters["rig"].queryset = rigs

    def by_seen(self, queryset: QuerySet[Notice], _: str, value: str) -> QuerySet[Notice]:
        """Narrow to what the person has seen or not."""
        new = unseen_by(self.request.user)
        return queryset.filter(pk__in=new) if value == "new" else queryset.exclude(pk__in=new)
