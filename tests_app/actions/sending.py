"""Sending a message: claimed by a conditional UPDATE, sent, and marked sent only then.

Whoever changes the row sends; a second worker changes none and leaves it. A worker that dies with a claim loses it
after `CLAIM_LASTS`, and the message is found again. One window is left, and it can't be closed: a worker killed after
the server said yes and before the mark is written sends again. For mail the two stand next to each other; the repeat
carries the same Message-ID, and a web hook's the same delivery id, so that the reader's side can drop it.
"""

import logging
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Final

from django.conf import settings
from django.db import transaction
from django.db.models import F, Q

from accounts.models import User
from calcs.alert_stages import wait_after
from equipment.actions.saving import aware
from equipment.errors import Refused
from equipment.models import Rig
from tests_app import web_hooks
from tests_app.actions.telling import queue_message
from tests_app.after_commit import enqueue
from tests_app.documents.alert_mails import hook_body, mail_of
from tests_app.mail import MailRefused, send_mail
from tests_app.models import Channel, Message, Notice, Purpose
from tests_app.queries.alerts import is_on, settings_of
from tests_app.web_hooks import Call, NotReceived
from trail import entries
from trail.actors import Actor

CLAIM_LASTS: Final = timedelta(minutes=2)
"""Longer than the task that sends may run (`tests_app.tasks`), so that two never hold one message."""
_OPEN: Final = Q(sent_at=None, given_up_at=None, dropped_at=None)

log = logging.getLogger(__name__)


class _Dropped(Exception):
    """Nothing is left to say, or nobody to say it to."""


class _GivenUp(Exception):
    """It can't be sent, and trying again changes nothing."""


def deliver(message_id: int, *, by: Actor, at: datetime) -> bool:
    """Send a message once; return whether this call sent it. What fails is tried again after a wait that grows."""
    aware(at)
    # In a transaction of its own: the claim must stand before anything is sent, whatever comes of that.
    with transaction.atomic():
        if not _claimed(message_id, at):
            return False
    message = Message.objects.select_related("rig", "person").get(pk=message_id)
    try:
        _send(message, at, lambda: _mark_sent(message, at))
    except _Dropped as dropped:
        _end(message, at, dropped_at=at, last_error=str(dropped))
    except (_GivenUp, MailRefused) as refused:
        _end(message, at, given_up_at=at, last_error=str(refused))
    except Exception as error:
        # Whatever it was, the message must not be lost with it: it is shown, and tried again.
        if Message.objects.filter(pk=message.pk, sent_at__isnull=False).exists():
            return True
        expected = isinstance(error, OSError | NotReceived)
        log.warning("Message %s was not sent: %s", message.pk, _said(error), exc_info=not expected)
        _put_off(message, at, _said(error))
    else:
        return True
    return False


def _claimed(message_id: int, at: datetime) -> bool:
    free = Q(claimed_at=None) | Q(claimed_at__lte=at - CLAIM_LASTS)
    waiting = Message.objects.filter(_OPEN, free, pk=message_id, next_try_at__lte=at)
    return waiting.update(claimed_at=at, tries=F("tries") + 1) == 1


def _mark_sent(message: Message, at: datetime) -> None:
    Message.objects.filter(pk=message.pk).update(sent_at=at, claimed_at=None, last_error="", address=message.address)


def _end(message: Message, claimed_at: datetime, **how: object) -> None:
    Message.objects.filter(_OPEN, pk=message.pk, claimed_at=claimed_at).update(
        claimed_at=None, address=message.address, **how
    )


def _put_off(message: Message, at: datetime, why: str) -> None:
    wait = wait_after(message.tries)
    if wait is None:
        _end(message, at, given_up_at=at, last_error=f"Given up after {message.tries} tries. {why}")
    else:
        _end(message, at, next_try_at=at + wait, last_error=why)


def _said(error: Exception) -> str:
    """Return what went wrong without what a server may have repeated of names and passwords."""
    if isinstance(error, NotReceived):
        return str(error)
    number = getattr(error, "smtp_code", None)
    if number:
        return f"The mail server answered {number}."
    if not isinstance(error, OSError):
        return f"Sending broke off ({type(error).__name__}); the worker's log says where."
    return f"The mail server was not reached: {error.strerror or type(error).__name__}."


def _send(message: Message, at: datetime, when_sent: Callable[[], None]) -> None:
    notices = _still_to_tell(message)
    if message.channel == Channel.HOOK:
        _call(message, notices, at)
        when_sent()
        return
    person = message.person
    if person is None or not is_on(message.rig, person):
        raise _Dropped("The person is not on this rig any more.")
    if not settings.WELLHOLD_MAIL_IS_SET:
        raise _GivenUp("No mail server is set on this installation (EMAIL_URL).")
    if not person.email:
        raise _GivenUp("The person has no e-mail address on file.")
    message.address = person.email
    mail = mail_of(message, notices, at=at)
    send_mail(
        to=person.email,
        subject=mail.subject,
        text=mail.text,
        html=mail.html,
        reference=message.reference,
        when_sent=when_sent,
    )


def _still_to_tell(message: Message) -> list[Notice]:
    """Return the notices of a message that still hold: what was renewed while it waited is left out."""
    if message.purpose not in (Purpose.NOTICE, Purpose.ESCALATION):
        return []
    found = Notice.objects.filter(deliveries__message=message, closed_at=None).distinct().order_by("pk")
    if message.purpose == Purpose.ESCALATION:
        found = found.filter(acknowledged_at=None)
    if not found:
        raise _Dropped("Before it could go, everything in it was renewed, deferred or told again.")
    return list(found)


def _call(message: Message, notices: list[Notice], at: datetime) -> None:
    chosen = settings_of(message.rig)
    if not chosen.hook_url:
        raise _Dropped("The rig has no web hook any more.")
    message.address = web_hooks.host_of(chosen.hook_url)
    body = hook_body(message, notices, at=at)
    call = Call(str(message.reference), at, body, chosen.hook_secret)
    web_hooks.send(chosen.hook_url, call, private_allowed=settings.WELLHOLD_HOOKS_TO_PRIVATE)


@transaction.atomic
def retry(message: Message, *, by: Actor, at: datetime) -> None:
    """Have a message that waits or was given up sent at once. Raises Refused for one that was sent or dropped."""
    again = Message.objects.filter(pk=message.pk, sent_at=None, dropped_at=None)
    free = Q(claimed_at=None) | Q(claimed_at__lte=aware(at) - CLAIM_LASTS)
    if not again.filter(free).update(given_up_at=None, next_try_at=at, tries=0, claimed_at=None):
        raise Refused("", "This message is sent, dropped or being sent.", "Look at it again in a minute.")
    entries.write("message.retried", message, by=by, at=at, rig_number=message.rig_id)
    enqueue("tests_app.deliver", message_id=message.pk)


@transaction.atomic
def send_trial(rig: Rig, *, person: User | None, by: Actor, at: datetime) -> Message:
    """Send a test message to a person or, without one, the web hook, quiet hours or not.

    Raises Refused where there is no address to send to.
    """
    chosen = settings_of(rig)
    if person is None and not chosen.hook_url:
        raise Refused("", "This rig has no web hook.", "Enter its address and save first.")
    if person is not None and not person.email:
        raise Refused("", f"{person} has no e-mail address on file.", "Have it entered in the account first.")
    message = queue_message(chosen, person, Purpose.TRIAL, goes_at=aware(at), at=at)
    entries.write("message.trial-sent", message, by=by, at=at, rig_number=rig.pk)
    return message
