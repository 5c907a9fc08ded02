"""What a function test holds beside its envelope: heading, and a line for each component or control item worked.

A function test asks whether each thing works, and how fast: from activation to complete operation or seal-off. All
pressures are gauge.
"""

from django.db import models
from django.db.models import Q

from calcs.units import Dimension
from equipment.models import Component, ControlItem, Position
from equipment.models.quantities import QuantityField, whole_quantity
from tests_app.models.pressure_tests import Outcome, TestReason
from tests_app.models.records import Record
from tests_app.models.sealing import HeldByRecord


class FunctionTest(HeldByRecord):
    """The heading of a function test of one stack.

    `confirmed` holds the prerequisites somebody confirmed before the test was concluded: each with its key, the words
    it was confirmed in, and who said so.
    """

    held_by = "function_test"

    record = models.OneToOneField(Record, on_delete=models.PROTECT, primary_key=True, related_name="function_test")
    reason = models.CharField(max_length=24, choices=TestReason)
    pipe_in_hole = QuantityField(Dimension.LENGTH, "pipe in the hole, outside diameter", blank=True)
    manifold_pressure = QuantityField(
        Dimension.PRESSURE, "regulated manifold pressure", blank=True, help_text="Of the fluid that works the rams."
    )
    annular_pressure = QuantityField(
        Dimension.PRESSURE, "regulated annular pressure", blank=True, help_text="Of the fluid that works the annulars."
    )
    operator = models.CharField(max_length=120, blank=True, help_text="Who worked the functions.")
    confirmed = models.JSONField(default=list, blank=True)
    outcome = models.CharField(max_length=8, choices=Outcome, default=Outcome.PENDING)

    class Meta:
        constraints = (
            whole_quantity("functiontest", "pipe_in_hole"),
            whole_quantity("functiontest", "manifold_pressure"),
            whole_quantity("functiontest", "annular_pressure"),
        )

    def __str__(self) -> str:
        return str(self.record)


class Worked(models.TextChoices):
    """What was done with it, in the order it was done."""

    CLOSE_OPEN = "close-open", "Closed, then opened"
    OPEN_CLOSE = "open-close", "Opened, then closed"
    CLOSE = "close", "Closed only"
    OPEN = "open", "Opened only"
    SEQUENCE = "sequence", "All its functions worked"


class ClosedOn(models.TextChoices):
    """What a component closed on."""

    PIPE = "pipe", "Pipe"
    OPEN_HOLE = "open-hole", "Open hole"


def _positive(name: str) -> Q:
    return Q(**{f"{name}_si__isnull": True}) | Q(**{f"{name}_si__gt": 0})


class FunctionLine(HeldByRecord):
    """One component or control item worked once: how it was worked, how long it took, what it used, how it ended.

    Times run from activation to complete operation or seal-off. `subject_as_tested` keeps what was worked and
    `controls_as_used` the station and pod it was worked from, as they stood. Counter readings are those of the flow
    meter before the first movement, between the two, and after the last.
    """

    held_by = "function_lines"

    record = models.ForeignKey(Record, on_delete=models.PROTECT, related_name="function_lines")
    order = models.PositiveSmallIntegerField()
    position = models.ForeignKey(
        Position, on_delete=models.PROTECT, null=True, blank=True, related_name="function_lines"
    )
    component = models.ForeignKey(
        Component, on_delete=models.PROTECT, null=True, blank=True, related_name="function_lines"
    )
    control_item = models.ForeignKey(
        ControlItem, on_delete=models.PROTECT, null=True, blank=True, related_name="function_lines"
    )
    subject_as_tested = models.JSONField(help_text="What was worked, as it stood.")
    station = models.ForeignKey(ControlItem, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    pod = models.ForeignKey(ControlItem, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    controls_as_used = models.JSONField(default=dict, blank=True)
    worked = models.CharField(max_length=12, choices=Worked)
    closed_on = models.CharField(max_length=12, choices=ClosedOn, blank=True)
    pipe = QuantityField(Dimension.LENGTH, "pipe it closed on, outside diameter", blank=True)
    closing_time = QuantityField(Dimension.TIME, blank=True, help_text="From activation to seal-off.")
    opening_time = QuantityField(Dimension.TIME, blank=True, help_text="From activation to fully open.")
    closing_volume = QuantityField(Dimension.VOLUME, "fluid used to close", blank=True)
    opening_volume = QuantityField(Dimension.VOLUME, "fluid used to open", blank=True)
    counter_before = QuantityField(Dimension.VOLUME, "counter before", blank=True)
    counter_between = QuantityField(Dimension.VOLUME, "counter between", blank=True)
    counter_after = QuantityField(Dimension.VOLUME, "counter after", blank=True)
    completed = models.BooleanField("worked completely", null=True, blank=True)
    leak_seen = models.BooleanField("leak or defect seen", default=False)
    leak_description = models.CharField(max_length=300, blank=True)
    retest_of = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="retests")
    verdict = models.JSONField(null=True, blank=True, help_text="Limits, clauses, margins and comparisons, in words.")
    outcome = models.CharField(max_length=8, choices=Outcome, default=Outcome.PENDING)
    remarks = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("record", "order")
        constraints = (
            models.UniqueConstraint(fields=["record", "order"], name="functionline_order_once"),
            models.CheckConstraint(
                condition=Q(position__isnull=False, component__isnull=False, control_item__isnull=True)
                | Q(position__isnull=True, component__isnull=True, control_item__isnull=False),
                name="functionline_one_subject",
                violation_error_message="A line is about a component in its position, or about one control item.",
            ),
            models.CheckConstraint(
                condition=_positive("closing_time") & _positive("opening_time"),
                name="functionline_takes_time",
                violation_error_message="A function takes some time.",
            ),
            models.CheckConstraint(
                condition=_positive("closing_volume") & _positive("opening_volume"),
                name="functionline_takes_fluid",
                violation_error_message="A function takes some fluid.",
            ),
            models.CheckConstraint(
                condition=Q(leak_seen=False) | ~Q(leak_description=""),
                name="functionline_leak_described",
                violation_error_message="Say where and how much it leaked, or what the defect is.",
            ),
            *(
                whole_quantity("functionline", name)
                for name in (
                    "pipe",
                    "closing_time",
                    "opening_time",
                    "closing_volume",
                    "opening_volume",
                    "counter_before",
                    "counter_between",
                    "counter_after",
                )
            ),
        )
        indexes = (
            models.Index(fields=["component", "outcome"], name="functionline_by_component"),
            models.Index(fields=["control_item", "outcome"], name="functionline_by_control"),
        )

    def __str__(self) -> str:
        return str(self.position or self.control_item)
