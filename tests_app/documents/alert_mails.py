"""The mails and web-hook bodies of alerts: plain text first, the same again in HTML."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse

from accounts.presentation import date_text
from calcs.moments import limit_words, moment_words
from calcs.recurrence import State
from equipment.models import Rig
from tests_app.documents.alert_words import Line, Part, part_of, parts_of, summary_of
from tests_app.models import Message, Notice, Purpose
from tests_app.queries.daily import Daily, Standing, daily_of
from tests_app.queries.due_items import CANNOT_BE_WORKED_OUT

CAUTION: Final = (
    "An alert that does not come proves nothing: the due list and the signed records do. "
    "Local regulation, the maker's manual and licensed practice prevail."
)
_LONGEST_SUBJECT: Final = 150


@dataclass(frozen=True)
class Mail:
    """A mail ready to be sent."""

    subject: str
    text: str
    html: str


@dataclass(frozen=True)
class _Letter:
    """What a mail says, in parts, before it is written as text and as HTML."""

    subject: str
    title: str
    as_of: str
    intro: str
    parts: tuple[Part, ...]
    links: tuple[tuple[str, str], ...]

    def written(self) -> Mail:
        context = {"letter": self, "caution": CAUTION}
        subject = " ".join(self.subject.split())[:_LONGEST_SUBJECT]
        html = render_to_string("tests_app/mail/letter.html", context)
        return Mail(subject, _text(self), html)


def _text(letter: _Letter) -> str:
    lines = [letter.title, letter.as_of, ""]
    if letter.intro:
        lines += [letter.intro, ""]
    for part in letter.parts:
        lines.append(part.heading.upper())
        for block in part.blocks:
            lines += [f"{block.what}. {block.when}", *(f"- {one}" for one in block.on)]
            lines += [f"  {block.beside}", ""] if block.beside else [""]
        lines += [f"And {part.more} more on the due list.", ""] if part.more else []
    for words, address in letter.links:
        lines += [f"{words}:", address, ""]
    return "\n".join([*lines, CAUTION, ""])


def link_to(name: str, *args: Any) -> str:
    """Return the address of a page as somebody outside reaches it."""
    return f"{settings.PUBLIC_ADDRESS.rstrip('/')}{reverse(name, args=args)}"


def mail_of(message: Message, notices: Sequence[Notice], *, at: datetime) -> Mail:
    """Return the mail of a message as of the moment it is sent."""
    if message.purpose == Purpose.DIGEST:
        return _digest(message.rig, daily_of(message.rig, at=at)).written()
    if message.purpose == Purpose.TRIAL:
        return _trial(message.rig, at).written()
    return _told(message, notices, at).written()


def _told(message: Message, notices: Sequence[Notice], at: datetime) -> _Letter:
    rig = message.rig
    escalated = message.purpose == Purpose.ESCALATION
    summary = summary_of(notices)
    intro = "Nobody has acknowledged this so far, so it comes to you as rig manager." if escalated else ""
    return _Letter(
        subject=f"{'Not acknowledged: ' if escalated else ''}{summary} – {rig.name}",
        title=f"{rig.name}: {summary}",
        as_of=f"Told {moment_words(at, rig.zone)}",
        intro=intro,
        parts=tuple(parts_of(notices, rig.zone)),
        links=(
            ("Acknowledge, with a note", link_to("tests_app:alerts")),
            ("All that is due", link_to("tests_app:rig", rig.pk)),
        ),
    )


def _trial(rig: Rig, at: datetime) -> _Letter:
    return _Letter(
        subject=f"Test message – {rig.name}",
        title=f"{rig.name}: test message",
        as_of=f"Sent {moment_words(at, rig.zone)}",
        intro="Alerts of this rig reach you at this address. Nothing is due because of this message.",
        parts=(),
        links=(("How the rig tells whom", link_to("tests_app:alert-settings", rig.pk)),),
    )


def _digest(rig: Rig, daily: Daily) -> _Letter:
    day = date_text(daily.at.astimezone(rig.zone))
    parts = [part_of(heading, [_standing_line(one, rig) for one in found]) for heading, found in daily.groups if found]
    waiting = daily.unacknowledged
    intro = daily.summary
    if waiting:
        intro += f" {waiting} {'alert is' if waiting == 1 else 'alerts are'} not acknowledged."
    return _Letter(
        subject=f"{rig.name}, {day}: {daily.short}",
        title=f"{rig.name}: how it stands today",
        as_of=f"As of {moment_words(daily.at, rig.zone)}",
        intro=intro,
        parts=tuple(parts),
        links=(("The due list", link_to("tests_app:rig", rig.pk)), ("Your alerts", link_to("tests_app:alerts"))),
    )


def _standing_line(one: Standing, rig: Rig) -> Line:
    return Line(one.what, one.on, _when(one, rig), one.beside)


def _when(one: Standing, rig: Rig) -> str:
    if one.due_at is None:
        return "Take it as not in date." if one.state == CANNOT_BE_WORKED_OUT else "Due at once."
    limit = limit_words(one.due_at, rig.zone)
    if one.state == State.OVERDUE:
        return f"Overdue since {limit}."
    return f"Running; begun before {limit}." if one.state == State.IN_PROGRESS else f"Begin before {limit}."


def hook_body(message: Message, notices: Sequence[Notice], *, at: datetime) -> bytes:
    """Return the JSON a web hook is called with, the same shape for every purpose."""
    rig = message.rig
    content = {
        "type": message.purpose,
        "delivery": str(message.reference),
        "created_at": message.created_at.isoformat(),
        "sent_at": at.isoformat(),
        "rig": {
            "id": rig.pk,
            "name": rig.name,
            "time_zone": rig.time_zone,
            "address": link_to("tests_app:rig", rig.pk),
        },
        "notices": [_notice_content(one, rig) for one in notices],
    }
    return json.dumps(content, ensure_ascii=False, separators=(",", ":")).encode()


def _notice_content(notice: Notice, rig: Rig) -> dict[str, Any]:
    return {
        "id": notice.pk,
        "obligation": notice.obligation_key,
        "what": notice.what,
        "stage": notice.stage,
        "headline": notice.headline,
        "subject": notice.subject,
        "due_at": notice.due_at.astimezone(rig.zone).isoformat() if notice.due_at else None,
        "reason": notice.reason,
        "clause": notice.clause,
        "passed_over": notice.passed_over,
        "created_at": notice.created_at.isoformat(),
        "address": link_to("tests_app:alert", notice.pk),
    }
