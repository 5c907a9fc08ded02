"""What became due and who was told: a notice, its deliveries, and the messages that carry them.

A notice says that an obligation reached a stage (three days before, overdue, …). A delivery tells it to one person or
to the rig's web hook by one channel. Mail and web hook go by messages, each with its tries; one message carries all a
sweep has to tell one reader, so that fourteen items of one stack test are one mail. How long something is overdue
is never stored here: a notice keeps the words as of its moment.
"""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from equipment.models import Rig
from tests_app.models.obligations import What


class Channel(models.TextChoices):
    """By what somebody is told."""

    MAIL = "mail", "E-mail"
    HOOK = "hook", "Web hook"
    APP = "app", "In the app"


class Purpose(models.TextChoices):
    """What a message or a delivery is for."""

    NOTICE = "notice", "Notice"
    ESCALATION = "escalation", "Escalation"
    DIGEST = "digest", "Daily digest"
    TRIAL = "trial", "Test message"


class Closing(models.TextChoices):
    """Why nothing is to be said of a notice any more."""

    RENEWED = "renewed", "Renewed"
    DEFERRED = "deferred", "Deferred"
    MOVED = "moved", "Date moved"
    BEGUN = "begun", "Test begun"
    OUT_OF_SERVICE = "out-of-service", "Out of service"
    OVERTAKEN = "overtaken", "Told again at a later stage"
    GONE = "gone", "No longer owed"


class Notice(models.Model):
    """One obligation of a rig that reached one stage before or after one due date. Kept for ever, written once."""

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="notices")
    obligation_key = models.CharField(max_length=80, help_text="See Obligation.key.")
    what = models.CharField(max_length=16, choices=What)
    stage = models.CharField(max_length=24, help_text="See calcs.alert_stages.Stage.")
    occasion = models.CharField(max_length=80, help_text="What the stage counts to: the due date, or what failed.")
    hours_past = models.IntegerField(help_text="From the due date to the stage; negative before it.")
    due_at = models.DateTimeField(null=True, blank=True)
    subject = models.CharField(max_length=160, help_text="What is due, as it was named then.")
    headline = models.CharField(max_length=300, help_text="The notice in one line, as of then.")
    reason = models.TextField(blank=True, help_text="Why it is due, as of then.")
    clause = models.CharField(max_length=160, blank=True)
    passed_over = models.JSONField(default=list, help_text="Stages passed while nothing swept; told by this one.")
    created_at = models.DateTimeField()
    acknowledged_at = models.DateTimeField(null=True, blank=True)
    acknowledged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    note = models.TextField(blank=True)
    escalated_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_because = models.CharField(max_length=16, choices=Closing, blank=True)

    class Meta:
        ordering = ("-created_at", "-id")
        constraints = (
            models.UniqueConstraint(
                fields=["rig", "obligation_key", "stage", "occasion"],
                name="notice_once_a_stage",
                violation_error_message="This stage of this due date was noticed already.",
            ),
        )
        indexes = (
            models.Index(fields=["rig", "obligation_key"], name="notice_open", condition=Q(closed_at=None)),
            models.Index(fields=["rig", "-created_at"], name="notice_by_rig"),
        )

    def __str__(self) -> str:
        return self.headline


class Digest(models.Model):
    """The daily digest of one rig to one person; its words are those of the moment it is sent."""

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="digests")
    day = models.DateField(help_text="On the rig's calendar.")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["rig", "day", "person"],
                name="digest_once_a_day",
                violation_error_message="This person's digest of the day is made already.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.rig}, {self.day}, {self.person}"


class Message(models.Model):
    """A mail to one person, or a call of the rig's web hook: sent once, tried until it is.

    Claimed by a conditional UPDATE of `claimed_at`; `sent_at` is written only once it was sent. `reference` makes the
    mail's Message-ID and the web hook's delivery id, the same in every try, so that the receiver can tell a repeat.
    """

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="messages")
    channel = models.CharField(max_length=8, choices=[(c.value, c.label) for c in (Channel.MAIL, Channel.HOOK)])
    purpose = models.CharField(max_length=12, choices=Purpose)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    digest = models.OneToOneField(Digest, on_delete=models.PROTECT, null=True, blank=True, related_name="message")
    reference = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    address = models.CharField(max_length=320, blank=True, help_text="Where it went, as of the last try.")
    created_at = models.DateTimeField()
    next_try_at = models.DateTimeField()
    tries = models.PositiveSmallIntegerField(default=0)
    claimed_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    given_up_at = models.DateTimeField(null=True, blank=True)
    dropped_at = models.DateTimeField(null=True, blank=True, help_text="Nothing was left to say when it was to go.")
    last_error = models.TextField(blank=True)

    class Meta:
        ordering = ("-created_at", "-id")
        indexes = (
            models.Index(
                fields=["next_try_at"],
                name="message_to_send",
                condition=Q(sent_at=None, given_up_at=None, dropped_at=None),
            ),
            models.Index(fields=["rig", "-created_at"], name="message_by_rig"),
        )

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} by {self.get_channel_display()} to {self.person or 'the web hook'}"

    @property
    def is_open(self) -> bool:
        """Tell whether it is still to be sent."""
        return self.sent_at is None and self.given_up_at is None and self.dropped_at is None


class Delivery(models.Model):
    """One notice told to one reader by one channel. In the app it is there at once; else its message carries it."""

    notice = models.ForeignKey(Notice, on_delete=models.PROTECT, related_name="deliveries")
    channel = models.CharField(max_length=8, choices=Channel)
    purpose = models.CharField(max_length=12, choices=Purpose)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="deliveries"
    )
    message = models.ForeignKey(Message, on_delete=models.PROTECT, null=True, blank=True, related_name="deliveries")
    seen_at = models.DateTimeField(null=True, blank=True, help_text="When the person first saw it in the app.")

    class Meta:
        verbose_name_plural = "deliveries"
        constraints = (
            models.UniqueConstraint(
                fields=["notice", "person", "channel", "purpose"],
                condition=Q(person__isnull=False),
                name="delivery_once_a_person",
                violation_error_message="This person was told already.",
            ),
            models.UniqueConstraint(
                fields=["notice", "channel", "purpose"],
                condition=Q(person__isnull=True),
                name="delivery_once_a_hook",
                violation_error_message="The web hook was told already.",
            ),
        )
        indexes = (models.Index(fields=["person"], name="delivery_unseen", condition=Q(channel="app", seen_at=None)),)

    def __str__(self) -> str:
        return f"{self.notice} to {self.person or 'the web hook'}"


class SweepMark(models.Model):
    """When the sweep last looked at a rig, and what it found. Its row is also what keeps two sweeps apart."""

    rig = models.OneToOneField(Rig, on_delete=models.CASCADE, primary_key=True, related_name="sweep_mark")
    swept_at = models.DateTimeField(null=True, blank=True, help_text="Of the last sweep that went through.")
    looked_at = models.PositiveIntegerField(default=0, help_text="Obligations near enough to be judged.")
    raised = models.PositiveIntegerField(default=0, help_text="Notices the last sweep made.")
    closed = models.PositiveIntegerField(default=0, help_text="Notices the last sweep closed.")
    failed_at = models.DateTimeField(null=True, blank=True, help_text="Of a sweep that broke off since.")
    error = models.TextField(blank=True)

    def __str__(self) -> str:
        return f"{self.rig}, {self.swept_at or 'never'}"
