"""The lists of notices and of messages: their filters and their tables."""

from datetime import datetime
from typing import Any

import django_filters
import django_tables2 as tables
from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from accounts.templatetags.wellhold import state
from calcs.alert_stages import DUE_NOW
from calcs.moments import limit_words, moment_words
from equipment.web.columns import WHEN, ListTable, MomentColumn
from tests_app.models import Channel, Message, Notice, Purpose
from tests_app.web.alert_words import message_mark, stage_mark, standing_words


class _RigMoment(tables.Column):
    """A moment on the clock of the row's own rig."""

    def render(self, value: datetime, table: ListTable, record: Any) -> SafeString:
        """Return the moment with its zone."""
        table.zone = record.rig.zone
        return MomentColumn("").render(value, table)

    def value(self, value: datetime, table: ListTable, record: Any) -> str:
        """Return the moment for an export."""
        table.zone = record.rig.zone
        return MomentColumn("").value(value, table)


class NoticeTable(ListTable):
    """The notices of a rig."""

    stage = tables.Column("Stage", order_by="hours_past")
    headline = tables.Column("What", order_by="subject")
    due = tables.Column("Limit", accessor="due_at", attrs={"td": {"class": "deadline"}})
    told = _RigMoment("Told", accessor="created_at", attrs=WHEN)
    stands = tables.Column("Stands", accessor="pk", orderable=False)
    note = tables.Column("Note", default="")

    class Meta:
        empty_text = "No alert matches. One is made when something reaches a stage of the rig's alert settings."

    def render_stage(self, record: Notice) -> SafeString:
        return state(*stage_mark(record))

    def value_stage(self, record: Notice) -> str:
        return stage_mark(record)[1]

    def render_headline(self, value: str, record: Notice) -> SafeString:
        words = value.partition(": ")[2] or value
        new = format_html("<strong>{}</strong> ", "New") if getattr(record, "unseen", False) else ""
        address = reverse("tests_app:alert", args=[record.pk])
        return format_html('{}<a href="{}">{}</a>', new, address, f"{words[:1].upper()}{words[1:]}")

    def value_headline(self, value: str) -> str:
        return value

    def render_due(self, value: datetime, record: Notice) -> str:
        if record.stage == DUE_NOW:
            return f"at once, since {moment_words(value, record.rig.zone)}"
        return limit_words(value, record.rig.zone)

    def value_due(self, value: datetime, record: Notice) -> str:
        return value.astimezone(record.rig.zone).isoformat(timespec="minutes")

    def render_stands(self, record: Notice) -> str:
        return standing_words(record)


class OwnNoticeTable(NoticeTable):
    """A person's own notices, over all their rigs."""

    rig = tables.Column("Rig", accessor="rig__name")

    class Meta(NoticeTable.Meta):
        sequence = ("stage", "headline", "rig", "...")
        empty_text = "No alert matches. You are told what the settings of your rigs say: see Alerts on a rig's page."


class MessageFilter(django_filters.FilterSet):
    """State, purpose and channel."""

    state = django_filters.ChoiceFilter(
        label="State",
        method="in_state",
        empty_label="Any",
        choices=[
            ("waits", "Waits or failed so far"),
            ("sent", "Sent"),
            ("given-up", "Given up"),
            ("dropped", "Dropped"),
        ],
    )
    purpose = django_filters.ChoiceFilter(label="For", choices=Purpose.choices, empty_label="Any")
    channel = django_filters.ChoiceFilter(
        label="By", choices=[(one.value, one.label) for one in (Channel.MAIL, Channel.HOOK)], empty_label="Any"
    )

    class Meta:
        model = Message
        fields: list[str] = []

    def in_state(self, queryset: QuerySet[Message], _: str, value: str) -> QuerySet[Message]:
        """Narrow to one state."""
        kept = {
            "waits": Q(sent_at=None, given_up_at=None, dropped_at=None),
            "sent": Q(sent_at__isnull=False),
            "given-up": Q(given_up_at__isnull=False),
            "dropped": Q(dropped_at__isnull=False),
        }
        return queryset.filter(kept[value])


class MessageTable(ListTable):
    """The mails and web-hook calls of a rig."""

    state = tables.Column("State", accessor="pk", orderable=False)
    purpose = tables.Column("For", accessor="get_purpose_display", order_by="purpose")
    to = tables.Column("To", accessor="pk", orderable=False)
    notices = tables.Column("Alerts", accessor="notice_count", attrs={"th": {"class": "num"}, "td": {"class": "num"}})
    made = MomentColumn("Made", accessor="created_at")
    sent = MomentColumn("Sent", accessor="sent_at")
    again = MomentColumn("Next try", accessor="next_try_at")
    tries = tables.Column("Tries", attrs={"th": {"class": "num"}, "td": {"class": "num"}})
    error = tables.Column("What went wrong", accessor="last_error", default="")

    class Meta:
        empty_text = "No message matches."

    def __init__(self, *args: Any, at: datetime, **options: Any) -> None:
        super().__init__(*args, **options)
        self.at = at

    def render_state(self, record: Message) -> SafeString:
        mark = state(*message_mark(record, self.at))
        return format_html('<a href="{}">{}</a>', reverse("tests_app:message", args=[record.pk]), mark)

    def value_state(self, record: Message) -> str:
        return message_mark(record, self.at)[1]

    def render_to(self, record: Message) -> str:
        who = record.person.name_shown if record.person else "Web hook"
        return f"{who}, {record.address}" if record.address else who

    def render_again(self, value: datetime, record: Message, column: tables.Column) -> SafeString | str:
        return MomentColumn("").render(value, self) if record.is_open else "–"

    def value_again(self, value: datetime, record: Message) -> str:
        return MomentColumn("").value(value, self) if record.is_open else ""
