"""What a pressure test holds beside its envelope: heading, steps, lines, typed readings, instruments used.

A step is one line-up, held once low and once high from one pump point; it proves one or more elements,
a line each. All pressures are gauge.
"""

from django.db import models
from django.db.models import F, Q

from calcs.units import Dimension
from equipment.models import Component, Instrument, Position
from equipment.models.quantities import QuantityField
from tests_app.models.records import Record
from tests_app.models.sealing import HeldByRecord


class TestReason(models.TextChoices):
    __test__ = False

    INSTALLATION = "installation", "Installation"
    INTERVAL = "interval", "Interval"
    AFTER_REPAIR = "after-repair", "After repair"
    BEFORE_DRILLING_OUT = "before-drilling-out", "Before drilling out casing"
    STUMP = "stump", "On the stump, before running"
    LANDED = "landed", "After landing the stack"
    OTHER = "other", "Other, see remarks"


class TestFluid(models.TextChoices):
    __test__ = False

    WATER = "water", "Water"
    MUD = "mud", "Drilling mud"
    BASE_OIL = "base-oil", "Base oil"
    OTHER = "other", "Other, see remarks"


class Barrier(models.TextChoices):
    """What closes the bore below the stack during the test."""

    PLUG = "plug", "Test plug"
    CUP = "cup", "Test cup"
    NONE = "none", "None: against the casing"
    STUMP = "stump", "Test stump"


class ControlStation(models.TextChoices):
    DRILL_FLOOR = "drill-floor", "Drill floor"
    REMOTE = "remote", "Remote station"
    CLOSING_UNIT = "closing-unit", "At the closing unit"


class Pod(models.TextChoices):
    BLUE = "blue", "Blue pod"
    YELLOW = "yellow", "Yellow pod"


class PressureTest(HeldByRecord):
    """The heading of a pressure test."""

    __test__ = False
    held_by = "pressure_test"

    record = models.OneToOneField(Record, on_delete=models.PROTECT, primary_key=True, related_name="pressure_test")
    reason = models.CharField(max_length=24, choices=TestReason)
    fluid = models.CharField(max_length=12, choices=TestFluid)
    barrier = models.CharField("plug or cup", max_length=8, choices=Barrier)
    pipe_in_hole = QuantityField(Dimension.LENGTH, "pipe in the hole, outside diameter", blank=True)
    control_station = models.CharField(max_length=16, choices=ControlStation, blank=True)
    pod = models.CharField(max_length=8, choices=Pod, blank=True)
    pump_operator = models.CharField(max_length=120, blank=True)
    plan_reference = models.CharField(
        max_length=120, blank=True, help_text="Test plan kept on site, if it is followed."
    )

    def __str__(self) -> str:
        return str(self.record)


class InstrumentUse(HeldByRecord):
    """An instrument the test was read from, with its calibration as it stood then."""

    held_by = "instrument_uses"
    record = models.ForeignKey(Record, on_delete=models.PROTECT, related_name="instrument_uses")
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="uses")
    as_used = models.JSONField(help_text="Kind, serial, range, accuracy and calibration dates, as they stood.")

    class Meta:
        ordering = ("record", "id")
        constraints = (models.UniqueConstraint(fields=["record", "instrument"], name="instrumentuse_once"),)

    def __str__(self) -> str:
        return f"{self.instrument} in {self.record}"


class Outcome(models.TextChoices):
    PENDING = "pending", "Not judged yet"
    PASSED = "passed", "Passed"
    FAILED = "failed", "Not passed"


class Evidence(models.TextChoices):
    NONE = "none", "None yet"
    RECORDING = "recording", "Recorder file"
    TYPED = "typed", "Readings typed in"


class Step(HeldByRecord):
    """One line-up, held once low and once high, with the limits it is judged by and the verdict.

    `limits` holds what `calcs.holds` judges by, in the units of the rule; `verdict` what it answered.
    `proposed_marks` and `chosen_marks` are the spans of the recording, in seconds, that the search
    proposed and the tester confirmed or moved: both are kept.
    """

    held_by = "steps"
    record = models.ForeignKey(Record, on_delete=models.PROTECT, related_name="steps")
    order = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=80, help_text="Such as Annular on 5 in pipe.")
    pump_point = models.CharField(max_length=80, blank=True, help_text="Where the pressure was pumped in.")
    limits = models.JSONField(help_text="Low band, high target, hold; quantities with their units.")
    evidence = models.CharField(max_length=10, choices=Evidence, default=Evidence.NONE)
    recording = models.ForeignKey(
        "Recording", on_delete=models.PROTECT, null=True, blank=True, related_name="judged_steps"
    )
    proposed_marks = models.JSONField(null=True, blank=True)
    chosen_marks = models.JSONField(null=True, blank=True)
    verdict = models.JSONField(null=True, blank=True)
    outcome = models.CharField(max_length=8, choices=Outcome, default=Outcome.PENDING)
    concluded_at = models.DateTimeField(null=True, blank=True, help_text="End of the judged high hold, if known.")
    retest_of = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="retests")
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ("record", "order")
        constraints = (models.UniqueConstraint(fields=["record", "order"], name="step_order_once"),)

    def __str__(self) -> str:
        return f"Step {self.order}: {self.name}"


class PressureFrom(models.TextChoices):
    """The side of an element the pressure acts on."""

    BELOW = "below", "From below"
    ABOVE = "above", "From above"
    WELL_SIDE = "well-side", "From the well side"
    FAR_SIDE = "far-side", "From the far side"


class Line(HeldByRecord):
    """One element a step proves: the component installed at that moment, kept as it was."""

    held_by = "steps__lines"
    step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="lines")
    position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="lines")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="lines")
    component_as_tested = models.JSONField(help_text="Identity and ratings of the component, as they stood.")
    pressure_from = models.CharField(max_length=10, choices=PressureFrom)
    required_low_min = QuantityField(Dimension.PRESSURE, blank=True, help_text="Empty where no low test is asked.")
    required_low_max = QuantityField(Dimension.PRESSURE, blank=True)
    required_high = QuantityField(Dimension.PRESSURE)
    hold_seconds = models.PositiveIntegerField()
    low_hold_seconds = models.PositiveIntegerField(
        null=True, blank=True, help_text="Where the low hold may be shorter than the high one."
    )
    clause = models.CharField(max_length=160)
    working = models.JSONField(default=list, help_text="How the required pressures were worked out, line by line.")
    rules = models.JSONField(default=list, help_text="The rules behind them: id, clause, words, confidence; one a row.")
    leak_seen = models.BooleanField(default=False)
    leak_description = models.CharField(max_length=300, blank=True)
    outcome = models.CharField(max_length=8, choices=Outcome, default=Outcome.PENDING)
    remarks = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("step", "position")
        constraints = (
            models.UniqueConstraint(
                fields=["step", "position", "pressure_from"],
                name="line_once_a_step",
                violation_error_message="The step proves this element from this side already.",
            ),
            models.CheckConstraint(
                condition=Q(required_low_max_si__gte=F("required_low_min_si")), name="line_low_band_ordered"
            ),
            models.CheckConstraint(
                condition=Q(required_low_min_si__isnull=True, required_low_max_si__isnull=True)
                | Q(required_low_min_si__isnull=False, required_low_max_si__isnull=False),
                name="line_low_band_whole",
            ),
            models.CheckConstraint(condition=Q(hold_seconds__gt=0), name="line_hold_positive"),
            models.CheckConstraint(
                condition=Q(low_hold_seconds__isnull=True)
                | Q(low_hold_seconds__gt=0, low_hold_seconds__lte=F("hold_seconds")),
                name="line_low_hold_no_longer",
            ),
            models.CheckConstraint(
                condition=Q(leak_seen=False) | ~Q(leak_description=""),
                name="line_leak_described",
                violation_error_message="Say where and how much it leaked.",
            ),
        )
        indexes = (models.Index(fields=["component", "outcome"], name="line_by_component"),)

    def __str__(self) -> str:
        return f"{self.position} {self.get_pressure_from_display().lower()}"


class HoldPhase(models.TextChoices):
    LOW = "low", "Low hold"
    HIGH = "high", "High hold"


class TypedReading(HeldByRecord):
    """One hold of a step as read by eye where the recorder failed or a paper chart stands instead."""

    held_by = "steps__typed_readings"
    step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="typed_readings")
    phase = models.CharField(max_length=4, choices=HoldPhase)
    start_at = models.DateTimeField()
    end_at = models.DateTimeField()
    start_pressure = QuantityField(Dimension.PRESSURE)
    end_pressure = QuantityField(Dimension.PRESSURE)
    highest_before = QuantityField(
        Dimension.PRESSURE, blank=True, help_text="Highest pressure seen before the low hold, since last at zero."
    )
    reason = models.CharField(max_length=200, help_text="Why it was typed in.")

    class Meta:
        ordering = ("step", "start_at")
        constraints = (
            models.UniqueConstraint(fields=["step", "phase"], name="typedreading_once_a_hold"),
            models.CheckConstraint(
                condition=Q(end_at__gt=F("start_at")),
                name="typedreading_ordered",
                violation_error_message="A hold ends after it started.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_phase_display()} of {self.step}"
