"""Telling people: the deliveries of new notices, and the messages that carry them. Parts of other actions."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from django.db.models import F

from accounts.models import User
from calcs.alert_stages import is_urgent, sending_moment
from tests_app.after_commit import enqueue
from tests_app.models import AlertSettings, Channel, Delivery, Message, Notice, Purpose
from tests_app.queries.alerts import quiet_of


def tell(
    notices: Sequence[Notice], people: Iterable[User], chosen: AlertSettings, *, purpose: Purpose, at: datetime
) -> None:
    """Tell people of new notices: in the app at once, by mail and web hook once this is committed.

    A notice told already by a channel is not told again. Runs in the caller's transaction.
    """
    if not notices:
        return
    goes_at = _mail_goes_at(notices, chosen, at)
    for person in people:
        _deliver(notices, person, Channel.APP, purpose, None)
        if chosen.by_mail and person.email:
            message = _mail_for(chosen, person, purpose, goes_at, at)
            _deliver(notices, person, Channel.MAIL, purpose, message)
    if chosen.hook_url:
        # A machine sleeps at no hour: quiet hours are for people.
        message = queue_message(chosen, None, purpose, goes_at=at, at=at)
        _deliver(notices, None, Channel.HOOK, purpose, message)


def queue_message(
    chosen: AlertSettings, person: User | None, purpose: Purpose, *, goes_at: datetime, at: datetime
) -> Message:
    """Return a new message to a person or, without one, the web hook; it is sent after commit once its time has come.

    Part of other actions: runs in their transaction.
    """
    channel = Channel.MAIL if person else Channel.HOOK
    message = Message.objects.create(
        rig_id=chosen.rig_id, channel=channel, purpose=purpose, person=person, created_at=at, next_try_at=goes_at
    )
    if goes_at <= at:
        enqueue("tests_app.deliver", message_id=message.pk)
    return message


def _mail_goes_at(notices: Sequence[Notice], chosen: AlertSettings, at: datetime) -> datetime:
    if chosen.urgent_in_quiet and any(is_urgent(notice.stage) for notice in notices):
        return at
    return sending_moment(at, quiet_of(chosen), chosen.rig.zone)


def _mail_for(chosen: AlertSettings, person: User, purpose: Purpose, goes_at: datetime, at: datetime) -> Message:
    """Return the message to write in: one that still waits for the end of quiet hours, else a new one."""
    waiting = Message.objects.filter(
        rig_id=chosen.rig_id,
        person=person,
        channel=Channel.MAIL,
        purpose=purpose,
        tries=0,
        claimed_at=None,
        sent_at=None,
        given_up_at=None,
        dropped_at=None,
        next_try_at__gt=at,
    )
    found = waiting.order_by("pk").first()
    # The UPDATE holds the row until this is committed; where it changed none, the message has just been taken.
    if found is None or not waiting.filter(pk=found.pk).update(next_try_at=goes_at, tries=F("tries")):
        return queue_message(chosen, person, purpose, goes_at=goes_at, at=at)
    if goes_at <= at:
        enqueue("tests_app.deliver", message_id=found.pk)
    return found


def _deliver(
    notices: Sequence[Notice], person: User | None, channel: Channel, purpose: Purpose, message: Message | None
) -> None:
    told = [
        Delivery(notice=notice, person=person, channel=channel, purpose=purpose, message=message) for notice in notices
    ]
    Delivery.objects.bulk_create(told, ignore_conflicts=True)
