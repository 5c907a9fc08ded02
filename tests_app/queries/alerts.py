"""Whom a rig tells, what it told, and what one person has still to see."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from django.conf import settings
from django.db.models import Count, Exists, OuterRef, Prefetch, Q, QuerySet

from accounts.models import User
from calcs.alert_stages import QuietHours, StagePlan
from equipment.errors import NotAllowed
from equipment.models import CrewMember, CrewRole, Rig
from equipment.queries import access
from equipment.queries.access import Right, Viewer
from tests_app.models import AlertSettings, Channel, Delivery, Message, Notice, SweepMark, What
from trail import entries
from trail.models import TrailEntry

LATE_AFTER: Final = timedelta(minutes=5)
"""A sweep runs each minute; four may be missed while a long certificate is drawn."""
LONG_LEAD: Final = frozenset(
    {What.CALIBRATION, What.DOCUMENT, What.ELASTOMER, What.SHELL, What.OVERHAUL, What.INSPECTION}
)
"""What takes weeks to arrange: a yard, a laboratory or a maker does it (common practice)."""
MOST_CHANGES: Final = 20
"""Changes of the settings a page shows."""
_MAY_ACKNOWLEDGE: Final = frozenset({Right.RECORD, Right.MANAGE})


def settings_of(rig: Rig) -> AlertSettings:
    """Return a rig's alert settings; the usual ones, not stored, where nobody chose any."""
    return AlertSettings.objects.select_related("rig").filter(rig=rig).first() or AlertSettings(rig=rig)


def plan_of(chosen: AlertSettings, what: str = What.PRESSURE) -> StagePlan:
    """Return the stages a rig chose for what has to be done."""
    hours = chosen.long_hours_before if what in LONG_LEAD else chosen.hours_before
    return StagePlan(tuple(hours), chosen.each_day_overdue)


def farthest_ahead(chosen: AlertSettings) -> timedelta:
    """Return how long before a due date the first stage of anything lies."""
    return max(plan_of(chosen).longest_before, plan_of(chosen, What.CALIBRATION).longest_before)


def quiet_of(chosen: AlertSettings) -> QuietHours | None:
    """Return a rig's quiet hours, if it has any."""
    if chosen.quiet_from is None or chosen.quiet_until is None:
        return None
    return QuietHours(chosen.quiet_from, chosen.quiet_until)


def told_on(rig: Rig, chosen: AlertSettings) -> list[User]:
    """Return whom the rig tells: its crew of the chosen roles and the chosen people, as long as they are on it."""
    named = CrewMember.objects.filter(rig=rig).filter(Q(role__in=chosen.roles) | Q(person__in=chosen.people.all()))
    return list(User.objects.filter(pk__in=named.values("person"), is_active=True).order_by("pk"))


def people_on(rig: Rig) -> QuerySet[User]:
    """Return everybody with a role on a rig the caller was already given, by user name."""
    return User.objects.filter(crew_roles__rig=rig, is_active=True).order_by("username")


def escalated_to(rig: Rig) -> list[User]:
    """Return whom a notice nobody acknowledged goes to: the rig's managers."""
    managers = CrewMember.objects.filter(rig=rig, role=CrewRole.RIG_MANAGER)
    return list(User.objects.filter(pk__in=managers.values("person"), is_active=True).order_by("pk"))


def is_on(rig: Rig, person: User) -> bool:
    """Tell whether a person may still read of the rig: a notice waits for nobody who left it."""
    return person.is_active and access.may(person, rig, Right.READ)


def mail_is_kept() -> bool:
    """Tell whether mail is kept in a folder of this machine instead of being sent."""
    return str(settings.EMAIL_BACKEND).endswith("filebased.EmailBackend")


def mail_is_set() -> bool:
    """Tell whether mail has any way to go."""
    return bool(settings.WELLHOLD_MAIL_IS_SET)


def notices_of(rig: Rig) -> QuerySet[Notice]:
    """Return the notices of a rig the caller was already given, latest first, each with who was told."""
    told = Prefetch("deliveries", Delivery.objects.select_related("person", "message").order_by("pk"))
    return (
        Notice.objects.filter(rig=rig)
        .select_related("rig", "acknowledged_by")
        .prefetch_related(told)
        .order_by("-created_at", "-hours_past", "pk")
    )


def own_notices(user: User) -> QuerySet[Notice]:
    """Return the notices told to a person in the app on the rigs they still see, with `unseen`. Latest first."""
    mine = Delivery.objects.filter(notice=OuterRef("pk"), person=user, channel=Channel.APP)
    return (
        Notice.objects.filter(Exists(mine), rig__in=access.rigs_visible(user))
        .annotate(unseen=Exists(mine.filter(seen_at=None)))
        .select_related("rig", "acknowledged_by")
        .order_by("-created_at", "-hours_past", "pk")
    )


def unseen_by(user: User) -> QuerySet[Delivery, int]:
    """Return the keys of the notices a person has not seen yet, on the rigs they still see."""
    unseen = Delivery.objects.filter(person=user, channel=Channel.APP, seen_at=None)
    return unseen.filter(notice__rig__in=access.rigs_visible(user)).values_list("notice", flat=True).distinct()


def unseen_count(user: Viewer) -> int:
    """Return how many notices a person has not seen yet. One query."""
    return unseen_by(user).count() if isinstance(user, User) and user.is_authenticated else 0


def may_acknowledge(user: Viewer, rig: Rig) -> bool:
    """Tell whether a person may acknowledge notices of a rig: who records tests there, or manages it."""
    return bool(_MAY_ACKNOWLEDGE & access.rights_on(user, rig))


def notice_for(user: Viewer, pk: int, *, to_acknowledge: bool = False) -> Notice:
    """Return one notice; raises NotYours, or NotAllowed where it is to be acknowledged by who may not."""
    notice = Notice.objects.select_related("rig", "acknowledged_by").filter(pk=pk).first()
    found = access.checked(user, notice, needs=Right.READ)
    if to_acknowledge and not may_acknowledge(user, found.rig):
        raise NotAllowed(
            f"Your role on {found.rig.name} does not allow you to acknowledge alerts.",
            "Who records tests or manages the rig can.",
        )
    return found


def same_date(notice: Notice) -> list[Notice]:
    """Return the other open notices of the rig at the same stage of the same date that nobody acknowledged."""
    alike = Notice.objects.filter(rig=notice.rig, stage=notice.stage, due_at=notice.due_at)
    return list(alike.filter(closed_at=None, acknowledged_at=None).exclude(pk=notice.pk).order_by("pk"))


def carried_by(message: Message) -> list[Notice]:
    """Return the notices a message carries."""
    told = Notice.objects.filter(deliveries__message=message).select_related("rig", "acknowledged_by")
    return list(told.distinct().order_by("pk"))


def messages_of(rig: Rig) -> QuerySet[Message]:
    """Return the mails and web-hook calls of a rig the caller was already given, latest first, with `notice_count`."""
    return (
        Message.objects.filter(rig=rig)
        .select_related("person", "digest")
        .annotate(notice_count=Count("deliveries"))
        .order_by("-created_at", "-pk")
    )


def message_for(user: Viewer, pk: int, *, needs: Right) -> Message:
    """Return one message; raises NotYours or NotAllowed."""
    message = Message.objects.select_related("rig", "person", "digest").filter(pk=pk).first()
    return access.checked(user, message, needs=needs)


def waiting_messages(at: datetime, *, claim_lasts: timedelta) -> list[int]:
    """Return the keys of the messages to be sent now: due, and in nobody's hands."""
    free = Q(claimed_at=None) | Q(claimed_at__lte=at - claim_lasts)
    waiting = Message.objects.filter(free, sent_at=None, given_up_at=None, dropped_at=None, next_try_at__lte=at)
    return list(waiting.order_by("next_try_at", "pk").values_list("pk", flat=True))


def changes_of(chosen: AlertSettings) -> QuerySet[TrailEntry]:
    """Return who changed a rig's alert settings, the latest first."""
    return entries.of_subject(chosen)[:MOST_CHANGES]


def sweep_mark(rig: Rig) -> SweepMark | None:
    """Return when the sweep last looked at a rig, None when it never did."""
    return SweepMark.objects.filter(rig=rig).first()


def sweep_marks(rigs: Sequence[Rig]) -> dict[int, SweepMark]:
    """Return the same for several rigs, by their keys. One query."""
    return SweepMark.objects.in_bulk([rig.pk for rig in rigs])


def is_late(mark: SweepMark | None, at: datetime) -> bool:
    """Tell whether the sweep of a rig is late, never came, or broke off."""
    if mark is None or mark.swept_at is None:
        return True
    return at - mark.swept_at > LATE_AFTER
