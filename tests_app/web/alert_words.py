"""How a notice and a message stand, as state marks and words."""

from datetime import datetime
from typing import Final

from calcs.alert_stages import DUE_NOW, NOT_PASSED, OVERDUE, UNKNOWN, stage_words
from tests_app.models import Channel, Delivery, Message, Notice

_MARKS: Final = {UNKNOWN: "unknown", NOT_PASSED: "not-passed", DUE_NOW: "due-now"}


def stage_mark(notice: Notice) -> tuple[str, str]:
    """Return the key of a notice's state mark, and its words."""
    mark = "overdue" if notice.stage.startswith(OVERDUE) else _MARKS.get(notice.stage, "due-soon")
    return mark, stage_words(notice.stage)


def standing_words(notice: Notice) -> str:
    """Return how a notice stands: open, acknowledged, or why it is closed."""
    if notice.closed_at is not None:
        return str(notice.get_closed_because_display())
    if notice.acknowledged_at is not None:
        return f"Acknowledged by {notice.acknowledged_by}"
    return "Open, escalated" if notice.escalated_at else "Open"


def message_mark(message: Message, at: datetime) -> tuple[str, str]:
    """Return the key of a message's state mark, and its words."""
    if message.sent_at is not None:
        return "passed", "Sent"
    if message.given_up_at is not None:
        return "not-passed", "Given up"
    if message.dropped_at is not None:
        return "not-judged", "Dropped"
    if message.claimed_at is not None:
        return "in-progress", "Being sent"
    if message.tries:
        return "due-now", f"Failed, tried {message.tries} {'time' if message.tries == 1 else 'times'}"
    return ("not-judged", "Waits for the end of quiet hours") if message.next_try_at > at else ("in-progress", "Waits")


def told_words(delivery: Delivery, at: datetime) -> str:
    """Return how one reader was told, in words."""
    if delivery.channel == Channel.APP:
        return "In the app, seen" if delivery.seen_at else "In the app, not seen yet"
    if delivery.message is None:
        return str(delivery.get_channel_display())
    return f"{delivery.get_channel_display()}, {message_mark(delivery.message, at)[1].lower()}"
