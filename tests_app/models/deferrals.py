"""Why something may wait: a deferral somebody approved, and a test that is not safe to make now."""

from django.db import models
from django.db.models import F, Q

from equipment.models import Rig


class Deferral(models.Model):
    """A deferral (dispensation): who approved that an obligation waits, why, until when, on what conditions.

    It ends by itself with `until`, or with the next event its clock counts from. Append-only, but for its withdrawal.
    """

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="deferrals")
    obligation_key = models.CharField(max_length=80, help_text="See Obligation.key.")
    subject = models.CharField(max_length=160, help_text="What was deferred, as it was named then.")
    granted_at = models.DateTimeField()
    until = models.DateTimeField()
    approved_by = models.CharField(max_length=120, help_text="Who approved it, with their office.")
    reference = models.CharField(max_length=120, help_text="Of the approval.")
    reason = models.TextField()
    conditions = models.TextField(blank=True)
    entered_at = models.DateTimeField()
    entered_by = models.CharField(max_length=150)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.CharField(max_length=150, blank=True)
    withdrawn_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("-granted_at", "-id")
        constraints = (
            models.CheckConstraint(
                condition=Q(until__gt=F("granted_at")),
                name="deferral_until_after_granted",
                violation_error_message="A deferral ends after it was granted.",
            ),
        )
        indexes = (models.Index(fields=["rig", "obligation_key"], name="deferral_by_obligation"),)

    def __str__(self) -> str:
        return f"{self.subject} until {self.until:%Y-%m-%d %H:%M}"


class Postponement(models.Model):
    """A test that is not safe to make now: the date it was due on stays, and what calls for it then is noted.

    The reasons are those of the edition (`calcs.schedule_rules.PostponementRule`). It ends when the test is made.
    """

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="postponements")
    obligation_key = models.CharField(max_length=80)
    subject = models.CharField(max_length=160)
    made_at = models.DateTimeField()
    reason = models.CharField(max_length=24, help_text="See calcs.schedule_rules.PostponeReason.")
    explanation = models.TextField()
    then = models.CharField(max_length=24, help_text="What calls for it: see calcs.rules.Occasion.")
    edition = models.CharField(max_length=60)
    clause = models.CharField(max_length=160)
    entered_by = models.CharField(max_length=150)
    entered_at = models.DateTimeField()
    called_at = models.DateTimeField(null=True, blank=True, help_text="When what calls for it came about.")
    ended_at = models.DateTimeField(null=True, blank=True, help_text="Safe again, or entered in error.")
    ended_by = models.CharField(max_length=150, blank=True)
    ended_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("-made_at", "-id")
        indexes = (models.Index(fields=["rig", "obligation_key"], name="postponement_by_obligation"),)

    def __str__(self) -> str:
        return f"{self.subject}: {self.reason}"
