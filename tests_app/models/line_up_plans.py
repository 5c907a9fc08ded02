"""Plans of a pressure test: the fewest line-ups that prove what has to be proved, as worked out and as changed by hand.

A plan keeps the pressure system and the required pressures as they stood when it was made, so that what it says stays
true of what it was made for. Pressures are gauge.
"""

from django.conf import settings
from django.db import models
from django.db.models import Q

from calcs.units import Dimension
from equipment.models import HoleSection, Rig, Stack
from equipment.models.quantities import QuantityField
from tests_app.models.pressure_tests import Barrier, Step, TestReason
from tests_app.models.records import Record


class PlanState(models.TextChoices):
    WAITING = "waiting", "Waiting to be worked out"
    WORKING = "working", "Being worked out"
    READY = "ready", "Worked out"
    FAILED = "failed", "Not worked out"


class LineUpPlan(models.Model):
    """What has to be proved of a stack, and the steps that prove it.

    `system` and `proofs` are copies (`tests_app.queries.line_up_copies`). `lower_bound`, `because`, `unprovable` and
    `told_apart` are what the search answered, of the whole plan with its pinned steps; a change by hand leaves them.
    """

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="line_up_plans")
    number = models.PositiveIntegerField(help_text="Counted on the rig.")
    stack = models.ForeignKey(Stack, on_delete=models.PROTECT, related_name="line_up_plans")
    section = models.ForeignKey(
        HoleSection, on_delete=models.PROTECT, null=True, blank=True, related_name="line_up_plans"
    )
    reason = models.CharField(max_length=24, choices=TestReason)
    barrier = models.CharField("plug or cup", max_length=8, choices=Barrier)
    edition = models.CharField(max_length=60, help_text="Id of the edition the pressures were worked out by.")
    failed_step = models.ForeignKey(
        Step,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="leak_plans",
        help_text="The step whose leak the plan singles out; empty where it proves a stack.",
    )
    finds_leak = models.BooleanField(default=False, help_text="It singles out a leak and proves nothing anew.")
    system = models.JSONField(help_text="The pressure system as it stood.")
    proofs = models.JSONField(help_text="What has to be shown: element, side, pressures, clause.")
    state = models.CharField(max_length=8, choices=PlanState, default=PlanState.WAITING)
    claimed_at = models.DateTimeField(null=True, blank=True, help_text="When a worker took it up.")
    worked_at = models.DateTimeField(null=True, blank=True)
    failure = models.CharField(max_length=300, blank=True, help_text="Why it could not be worked out.")
    lower_bound = models.PositiveSmallIntegerField(null=True, blank=True)
    because = models.TextField(blank=True)
    unprovable = models.JSONField(default=list, help_text="Proofs no step can give, and why.")
    told_apart = models.JSONField(default=list, help_text="Of a search for a leak: what its outcomes say.")
    version = models.PositiveIntegerField(default=1, help_text="Counts the changes; a stale page changes nothing.")
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    record = models.ForeignKey(
        Record,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="line_up_plans",
        help_text="The test that was opened from it.",
    )

    class Meta:
        ordering = ("-made_at", "-number")
        constraints = (
            models.UniqueConstraint(fields=["rig", "number"], name="lineupplan_number_once_a_rig"),
            models.CheckConstraint(
                condition=~Q(state=PlanState.READY) | Q(worked_at__isnull=False), name="lineupplan_ready_worked"
            ),
            models.CheckConstraint(
                condition=~Q(state=PlanState.FAILED) | ~Q(failure=""),
                name="lineupplan_failure_told",
                violation_error_message="Say why it could not be worked out.",
            ),
        )
        indexes = (models.Index(fields=["state", "claimed_at"], name="lineupplan_waiting"),)

    def __str__(self) -> str:
        return f"Line-up plan {self.number}, {self.rig.name}"


class LineUpStep(models.Model):
    """One line-up of a plan; every element of the system that is not closed is open."""

    plan = models.ForeignKey(LineUpPlan, on_delete=models.PROTECT, related_name="steps")
    order = models.PositiveSmallIntegerField()
    pump_point = models.CharField(max_length=60)
    pipe = models.CharField(max_length=40, help_text="Outside diameter; none for an empty hole.")
    pressure = QuantityField(Dimension.PRESSURE)
    closed = models.JSONField(default=list, help_text="Names of the elements closed.")
    is_pinned = models.BooleanField(default=False, help_text="It stays when the rest is planned again.")
    by_hand = models.BooleanField(default=False, help_text="Added or changed by hand.")
    opened_as = models.OneToOneField(
        Step,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="line_up",
        help_text="The step of the test that was opened from it.",
    )

    class Meta:
        ordering = ("plan", "order")
        constraints = (
            models.UniqueConstraint(fields=["plan", "order"], name="lineupstep_order_once"),
            models.CheckConstraint(
                condition=Q(pressure_si__gt=0),
                name="lineupstep_pressure_positive",
                violation_error_message="A step has a pressure over zero.",
            ),
        )

    def __str__(self) -> str:
        return f"Step {self.order} of line-up plan {self.plan.number}"
