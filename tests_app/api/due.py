"""What is due on a rig, how it went, and how it stood, over HTTP."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any, Final

from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from calcs.conditions import Condition
from equipment.api.asked import moment_asked
from equipment.api.operations import View, lists, reads
from equipment.api.problems import Unreadable
from equipment.models import Rig
from equipment.queries import access
from tests_app.models import What
from tests_app.queries.compliance import totals_of
from tests_app.queries.courses import Gap
from tests_app.queries.due_items import STATES, DueItem
from tests_app.queries.due_list import due_list
from tests_app.queries.past import Stood, exceeded, standing_at

_LONGEST: Final = timedelta(days=370)
_YEAR: Final = timedelta(days=365)
_MOMENT: Final[dict[str, Any]] = {"type": "string", "format": "date-time"}
_WINDOW: Final = (
    OpenApiParameter("since", _MOMENT, description="Beginning; a year before the end without it."),
    OpenApiParameter("until", _MOMENT, description="End, no later than now; now without it. 370 days at most."),
)
_AS_OF: Final = (
    OpenApiParameter("at", _MOMENT, description="The moment; now without it."),
    OpenApiParameter("known_at", _MOMENT, description="Count only what was on file by then; all of it without."),
)
_NARROWED: Final = (
    OpenApiParameter("what", str, enum=What.values, description="What has to be done."),
    OpenApiParameter("state", str, enum=STATES, description="How it stands."),
)


def _key(source: str, help_text: str = "") -> serializers.IntegerField:
    return serializers.IntegerField(source=f"{source}.pk", allow_null=True, default=None, help_text=help_text or None)


class DueItemShown(serializers.Serializer):
    """One requirement on one subject of a rig, and how it stands now."""

    key = serializers.CharField(help_text="By it work, deferrals and alerts name it.")
    what = serializers.ChoiceField(What.choices)
    subject = serializers.CharField()
    subject_detail = serializers.CharField(allow_blank=True)
    part = serializers.CharField(allow_blank=True)
    state = serializers.ChoiceField(STATES)
    reason = serializers.CharField(allow_blank=True, help_text="Why, in words.")
    due_at = serializers.DateTimeField(source="due.due_at", allow_null=True, default=None, help_text="Exclusive.")
    amber_at = serializers.DateTimeField(
        source="due.amber_at", allow_null=True, default=None, help_text="The earlier reading of the clause."
    )
    original_due_at = serializers.DateTimeField(source="due.original_due_at", allow_null=True, default=None)
    last_tested_at = serializers.DateTimeField(allow_null=True)
    edition = serializers.CharField(allow_blank=True)
    rule_id = serializers.CharField(allow_blank=True)
    clause = serializers.CharField(allow_blank=True)
    confidence = serializers.CharField(allow_blank=True)
    stops_operations = serializers.BooleanField()
    stack = _key("stack")
    position = _key("position")
    component = _key("component")
    last_record = _key("last_record")
    failed_record = _key("failed_record")
    draft = _key("draft")
    deferral = _key("deferral")
    postponement = _key("postponement")


class GapShown(serializers.Serializer):
    """A time in which a requirement was not met, or was past its date and deferred."""

    key = serializers.CharField()
    what = serializers.ChoiceField(What.choices)
    subject = serializers.CharField(source="subject.name")
    subject_detail = serializers.CharField(source="subject.detail", allow_blank=True)
    condition = serializers.ChoiceField([one.value for one in Condition], source="exceedance.condition.value")
    counted = serializers.BooleanField(source="exceedance.counted", help_text="A deferral is named, not counted.")
    begin = serializers.DateTimeField(source="exceedance.begin")
    end = serializers.DateTimeField(source="exceedance.end", allow_null=True, help_text="Null while it runs on.")
    why = serializers.CharField(source="exceedance.why", allow_blank=True)
    ended = serializers.CharField(source="exceedance.ended", allow_blank=True)


class ComplianceShown(serializers.Serializer):
    """A rig's past in figures; times in seconds."""

    since = serializers.DateTimeField()
    until = serializers.DateTimeField()
    requirements = serializers.IntegerField()
    not_met = serializers.IntegerField(help_text="How many of them were not met at some time.")
    gaps = serializers.IntegerField()
    deferred = serializers.IntegerField()
    unknown = serializers.IntegerField(help_text="How many could not be worked out for some time.")
    overdue_seconds = serializers.FloatField(help_text="In which anything was overdue.")
    open_seconds = serializers.FloatField(help_text="In which anything was open since an event.")


class StoodShown(serializers.Serializer):
    """How one requirement stood at a moment."""

    key = serializers.CharField(source="derived.key")
    what = serializers.ChoiceField(What.choices, source="derived.what")
    subject = serializers.CharField(source="derived.subject.name")
    subject_detail = serializers.CharField(source="derived.subject.detail", allow_blank=True)
    condition = serializers.ChoiceField([one.value for one in Condition], source="condition.value")
    is_met = serializers.BooleanField()
    due_at = serializers.DateTimeField(source="due.due_at", allow_null=True, default=None)
    reason = serializers.CharField(allow_blank=True)


class DueList(View):
    """What is due on a rig."""

    @lists(
        DueItemShown,
        "List what is due on a rig",
        query=_NARROWED,
        key=lambda item: item.key,
        description="The most pressing first: worse than overdue is what can't be worked out.",
    )
    def get(self, request: Request, rig_pk: int) -> Sequence[DueItem]:
        rig = access.rig_for(request.user, rig_pk)
        what = _chosen(request, "what", What.values)
        state = _chosen(request, "state", STATES)
        items = due_list(rig, at=self.at)
        return [item for item in items if what in ("", item.what) and state in ("", item.state)]


class Exceedances(View):
    """When a requirement was not met."""

    @lists(
        GapShown,
        "List when requirements were not met",
        query=_WINDOW,
        key=lambda gap: f"{gap.key}@{gap.exceedance.begin.isoformat()}",
        description="The latest first; deferrals among them.",
    )
    def get(self, request: Request, rig_pk: int) -> Sequence[Gap]:
        rig = access.rig_for(request.user, rig_pk)
        return exceeded(rig, *_window(request, self.at)).gaps


class Compliance(View):
    """A rig's past in figures."""

    @reads(ComplianceShown, "Show the compliance of a rig", query=_WINDOW)
    def get(self, request: Request, rig_pk: int) -> dict[str, Any]:
        rig = access.rig_for(request.user, rig_pk)
        past = exceeded(rig, *_window(request, self.at))
        totals = totals_of(past)
        return {
            "since": past.since,
            "until": past.until,
            "requirements": totals.requirements,
            "not_met": totals.not_met,
            "gaps": totals.gaps,
            "deferred": totals.deferred,
            "unknown": totals.unknown,
            "overdue_seconds": totals.overdue.total_seconds(),
            "open_seconds": totals.open.total_seconds(),
        }


class AsOf(View):
    """How a rig stood at any moment."""

    @lists(
        StoodShown,
        "List how a rig stood at a moment",
        query=_AS_OF,
        key=lambda row: row.derived.key,
        description="The worst first, as known then or as known now.",
    )
    def get(self, request: Request, rig_pk: int) -> Sequence[Stood]:
        rig: Rig = access.rig_for(request.user, rig_pk)
        at = _not_after(moment_asked(request, "at"), self.at, "at")
        known_at = moment_asked(request, "known_at")
        return standing_at(rig, at, known_at).rows


def _chosen(request: Request, name: str, known: Sequence[str]) -> str:
    value = request.query_params.get(name, "")
    if value and value not in known:
        raise Unreadable(name, "This is not known here.", f"Known are: {', '.join(known)}.")
    return value


def _not_after(moment: datetime | None, at: datetime, name: str) -> datetime:
    if moment is not None and moment > at:
        raise Unreadable(name, "This moment lies in the future.", "Ask for one that has passed.")
    return moment or at


def _window(request: Request, at: datetime) -> tuple[datetime, datetime]:
    until = _not_after(moment_asked(request, "until"), at, "until")
    since = moment_asked(request, "since") or until - _YEAR
    if not since < until or until - since > _LONGEST:
        raise Unreadable("since", "This is no time before the end, or too long a one.", "Ask for 370 days at most.")
    return since, until
