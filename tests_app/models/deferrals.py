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
    edition = models.CharField(max_length=60, blank=True)
    clause = models.CharField(max_length=160, blank=True, help_text="Of the rule that waits.")
    original_due_at = models.DateTimeField(null=True, blank=True, help_text="As it stood when this was entered.")
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
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=True) | ~Q(withdrawn_reason=""),
                name="deferral_withdrawn_with_reason",
                violation_error_message="What is withdrawn says why.",
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
    original_due_at = models.DateTimeField(null=True, blank=True, help_text="As it stood when this was entered.")
    entered_by = models.CharField(max_length=150)
    entered_at = models.DateTimeField()
    called_at = models.DateTimeField(null=True, blank=True, help_text="When what calls for it came about.")
    called_by = models.CharField(max_length=150, blank=True, help_text="Who said so.")
    ended_at = models.DateTimeField(null=True, blank=True, help_text="Safe again, or entered in error.")
    ended_by = models.CharField(max_length=150, blank=True)
    ended_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("-made_at", "-id")
        constraints = (
            models.CheckConstraint(
                condition=Q(called_at__isnull=True) | Q(called_at__gte=F("made_at")),
                name="postponement_called_after_made",
                violation_error_message="What calls for a test comes after it was postponed.",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | (Q(ended_at__gte=F("made_at")) & ~Q(ended_reason="")),
                name="postponement_ended_with_reason",
                violation_error_message="A postponement ends after it was made, and says why.",
            ),
        )
        indexes = (models.Index(fields=["rig", "obligation_key"], name="postponement_by_obligation"),)

    def __str__(self) -> str:
        return f"{self.subject}: {self.reason}"
