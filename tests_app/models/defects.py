"""Defects: what was found not to work, what was done about it, who was told, and what closed it.

What was found is written once. What is done about a defect, its reports and its closings are rows of their own that
are only added to; how it stands follows from them (`tests_app.queries.defects`). A closing by a test that was corrected
later closes nothing any more, so that a defect may have several.
"""

from django.db import models
from django.db.models import Q

from calcs.units import Dimension
from equipment.models import Component, ControlItem, Position, Rig, ServiceEvent
from equipment.models.quantities import QuantityField, whole_quantity
from tests_app.models.function_tests import ClosedOn, FunctionLine
from tests_app.models.pressure_tests import Line, PressureFrom


class Severity(models.TextChoices):
    """What may go on while the defect stands."""

    STOPS = "stops", "Stops operations"
    LIMITS = "limits", "Limits operations"
    MINOR = "minor", "Limits nothing"


class BarrierAffected(models.TextChoices):
    """Which hold on the well the defect weakens."""

    BORE = "bore", "Sealing the bore"
    OUTSIDE = "outside", "Holding against the outside"
    LINES = "lines", "Choke and kill lines, manifold"
    STRING = "string", "Inside the drill string"
    CONTROL = "control", "Closing the stack: its control"
    NONE = "none", "No barrier"


class ShownBy(models.TextChoices):
    """Which test shows that it holds or works again."""

    PRESSURE = "pressure", "A pressure test"
    FUNCTION = "function", "A function test"
    NEITHER = "neither", "Neither: an approved disposition alone"


class Defect(models.Model):
    """One thing found not to hold or not to work, where it stood, and what has to be shown before it counts as cured.

    Severity and barrier may be judged anew while it is open, with a reason in the trail; all else never changes.
    """

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="defects")
    number = models.PositiveIntegerField(help_text="Counted on the rig.")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, null=True, blank=True, related_name="defects")
    position = models.ForeignKey(
        Position, on_delete=models.PROTECT, null=True, blank=True, related_name="defects", help_text="Where it stood."
    )
    control_item = models.ForeignKey(
        ControlItem, on_delete=models.PROTECT, null=True, blank=True, related_name="defects"
    )
    subject = models.CharField(max_length=160, help_text="What failed, as it was named then.")
    line = models.ForeignKey(
        Line, on_delete=models.PROTECT, null=True, blank=True, related_name="defects", help_text="It was found by."
    )
    function_line = models.ForeignKey(
        FunctionLine, on_delete=models.PROTECT, null=True, blank=True, related_name="defects"
    )
    shown_by = models.CharField(max_length=10, choices=ShownBy)
    pressure_from = models.CharField(max_length=10, choices=PressureFrom, blank=True)
    pressure = QuantityField(Dimension.PRESSURE, blank=True, help_text="It has to be shown to hold at least this.")
    low_asked = models.BooleanField(default=False, help_text="A low test has to be shown as well.")
    closed_on = models.CharField(max_length=12, choices=ClosedOn, blank=True)
    pipe = QuantityField(Dimension.LENGTH, "pipe it was closed on, outside diameter", blank=True)
    found_at = models.DateTimeField(help_text="Deadlines of reports count from it.")
    found_by = models.CharField(max_length=120, help_text="Who found it.")
    description = models.TextField(help_text="What was seen.")
    severity = models.CharField(max_length=8, choices=Severity)
    barrier = models.CharField("barrier affected", max_length=10, choices=BarrierAffected)
    edition = models.CharField(max_length=60, blank=True, help_text="The rules the rig followed when it was opened.")
    opened_at = models.DateTimeField()
    opened_by = models.CharField(max_length=150)

    class Meta:
        ordering = ("-found_at", "-number")
        constraints = (
            models.UniqueConstraint(fields=["rig", "number"], name="defect_number_once_a_rig"),
            models.CheckConstraint(
                condition=Q(component__isnull=False, control_item__isnull=True)
                | Q(component__isnull=True, position__isnull=True, control_item__isnull=False),
                name="defect_one_subject",
                violation_error_message="A defect is of one component, or of one control item.",
            ),
            models.CheckConstraint(
                condition=Q(line__isnull=True) | Q(function_line__isnull=True),
                name="defect_one_source",
                violation_error_message="A defect is opened from one line of one test.",
            ),
            models.CheckConstraint(
                condition=~Q(shown_by="pressure") | (~Q(pressure_from="") & Q(pressure_si__gt=0)),
                name="defect_pressure_to_show",
                violation_error_message="What a pressure test has to show is a side and a pressure over zero.",
            ),
            models.CheckConstraint(
                condition=~Q(severity="stops", barrier="none"),
                name="defect_stops_for_a_barrier",
                violation_error_message="What stops operations affects a barrier: name it.",
            ),
            whole_quantity("defect", "pressure"),
            whole_quantity("defect", "pipe"),
        )
        indexes = (models.Index(fields=["component", "-found_at"], name="defect_by_component"),)

    def __str__(self) -> str:
        return f"Defect {self.number}: {self.subject}"


class DefectAction(models.Model):
    """What was done about a defect, and what was fitted. Append-only."""

    defect = models.ForeignKey(Defect, on_delete=models.PROTECT, related_name="actions")
    done_at = models.DateTimeField()
    done = models.TextField(help_text="What was done.")
    parts_fitted = models.TextField(blank=True, help_text="One part a line, with its serial or batch number.")
    done_by = models.CharField(max_length=150)
    puts_right = models.BooleanField(default=False, help_text="What failed is believed cured by it.")
    service_event = models.OneToOneField(
        ServiceEvent, on_delete=models.PROTECT, null=True, blank=True, related_name="+", help_text="Entered with it."
    )
    entered_at = models.DateTimeField()
    entered_by = models.CharField(max_length=150)

    class Meta:
        ordering = ("done_at", "id")

    def __str__(self) -> str:
        return f"Action on {self.defect}"


class DefectReport(models.Model):
    """What a rule asks to be reported or begun after a failure, as done.

    Append-only: of two on one rule the last entered counts.
    """

    defect = models.ForeignKey(Defect, on_delete=models.PROTECT, related_name="reports")
    rule_id = models.CharField(max_length=60)
    title = models.CharField(max_length=160)
    clause = models.CharField(max_length=160)
    done_at = models.DateTimeField()
    reference = models.CharField(max_length=120)
    entered_at = models.DateTimeField()
    entered_by = models.CharField(max_length=150)

    class Meta:
        ordering = ("entered_at", "id")

    def __str__(self) -> str:
        return f"{self.title}, {self.defect}"


class ClosedBy(models.TextChoices):
    RETEST = "retest", "A retest that passed"
    DISPOSITION = "disposition", "An approved disposition"


class Disposition(models.TextChoices):
    """Why a defect is closed without a test that passed."""

    OUT_OF_USE = "out-of-use", "Taken out of use for good"
    REPLACED = "replaced", "Replaced by another"
    AS_IT_IS = "as-it-is", "Accepted as it is"
    IN_ERROR = "in-error", "Entered in error: nothing had failed"


_NO_LINE = Q(line__isnull=True, function_line__isnull=True)
_ONE_LINE = Q(line__isnull=False, function_line__isnull=True) | Q(line__isnull=True, function_line__isnull=False)
_BY_RETEST = Q(closed_by="retest", disposition="") & _ONE_LINE
_BY_DISPOSITION = (
    Q(closed_by="disposition") & _NO_LINE & ~Q(disposition="") & ~Q(approved_by="") & ~Q(reference="") & ~Q(reason="")
)


class DefectClosing(models.Model):
    """What closed a defect: the line of the test that showed it cured, or a disposition somebody approved.

    Append-only.
    """

    defect = models.ForeignKey(Defect, on_delete=models.PROTECT, related_name="closings")
    closed_by = models.CharField(max_length=12, choices=ClosedBy)
    line = models.ForeignKey(Line, on_delete=models.PROTECT, null=True, blank=True, related_name="closings")
    function_line = models.ForeignKey(
        FunctionLine, on_delete=models.PROTECT, null=True, blank=True, related_name="closings"
    )
    disposition = models.CharField(max_length=12, choices=Disposition, blank=True)
    approved_by = models.CharField(max_length=120, blank=True, help_text="Who approved it, with their office.")
    reference = models.CharField(max_length=120, blank=True, help_text="Of the approval.")
    reason = models.TextField(blank=True)
    entered_at = models.DateTimeField()
    entered_by = models.CharField(max_length=150)

    class Meta:
        ordering = ("entered_at", "id")
        constraints = (
            models.CheckConstraint(
                condition=_BY_RETEST | _BY_DISPOSITION,
                name="defectclosing_whole",
                violation_error_message="A closing names the line that passed, or who approved what, why, under what "
                "reference.",
            ),
        )

    def __str__(self) -> str:
        return f"Closing of {self.defect}"
