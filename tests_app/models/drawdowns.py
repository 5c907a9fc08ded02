"""What a drawdown test and a pump test hold beside their envelope.

A drawdown test asks whether the accumulators can close the stack with every pump dead: functions are worked in order,
the pressure read after each, at once and again after a wait. All pressures are gauge, as read at surface.
"""

from django.db import models
from django.db.models import F, Q

from calcs.units import Dimension
from equipment.models import Bank, Component, Position, PrechargeCheck
from equipment.models.quantities import QuantityField, whole_quantity
from tests_app.models.pressure_tests import ControlStation, Outcome, Pod, TestReason
from tests_app.models.records import Record
from tests_app.models.sealing import HeldByRecord


class GasState(models.TextChoices):
    """The state of the gas a pressure was read in: the pair of readings tells how cold the drop left it."""

    AT_ONCE = "at-once", "Read at once"
    SETTLED = "settled", "Read again after the wait"


class DrawdownTest(HeldByRecord):
    """The heading of a drawdown test of one bank.

    `bank_as_tested` keeps the bank, its bottles and their precharge as they stood: a bottle shut off later does
    not change what was tested. `verdict` holds what the rule said of it, and the fit of the gas.
    """

    held_by = "drawdown_test"

    record = models.OneToOneField(Record, on_delete=models.PROTECT, primary_key=True, related_name="drawdown_test")
    bank = models.ForeignKey(Bank, on_delete=models.PROTECT, related_name="drawdown_tests")
    reason = models.CharField(max_length=24, choices=TestReason)
    control_station = models.CharField(max_length=16, choices=ControlStation, blank=True)
    pod = models.CharField(max_length=8, choices=Pod, blank=True)
    pipe_in_hole = QuantityField(Dimension.LENGTH, "pipe in the hole, outside diameter", blank=True)
    operator = models.CharField(max_length=120, blank=True, help_text="Who worked the functions.")
    precharge_check = models.ForeignKey(
        PrechargeCheck,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="drawdown_tests",
        help_text="The round in which every bottle was read beforehand.",
    )
    gas_temperature = QuantityField(
        Dimension.TEMPERATURE, blank=True, help_text="Of the charged gas, settled to the air or sea around it."
    )
    start_pressure = QuantityField(Dimension.PRESSURE, blank=True, help_text="Of the charged bank, gauge.")
    start_settled = models.BooleanField(default=False, help_text="The start pressure had stood steady for minutes.")
    electric_pumps_isolated = models.BooleanField(default=False)
    air_pumps_isolated = models.BooleanField(default=False)
    isolation_confirmed_by = models.CharField(max_length=120, blank=True)
    wait_seconds = models.PositiveIntegerField(
        null=True, blank=True, help_text="How long after each function the pressure is read again."
    )
    judged_state = models.CharField(max_length=8, choices=GasState, default=GasState.AT_ONCE)
    bank_as_tested = models.JSONField(default=dict)
    verdict = models.JSONField(null=True, blank=True)
    outcome = models.CharField(max_length=8, choices=Outcome, default=Outcome.PENDING)

    class Meta:
        constraints = (
            whole_quantity("drawdowntest", "pipe_in_hole"),
            whole_quantity("drawdowntest", "gas_temperature"),
            whole_quantity("drawdowntest", "start_pressure"),
        )

    def __str__(self) -> str:
        return str(self.record)


class Movement(models.TextChoices):
    CLOSE = "close", "Close"
    OPEN = "open", "Open"


class VolumeFrom(models.TextChoices):
    COMPONENT = "component", "From the component on file"
    ENTERED = "entered", "Typed in"
    MEASURED = "measured", "Measured at the meter or tank"


class DrawdownFunction(HeldByRecord):
    """One function worked in a drawdown, in order: the fluid it takes, how long it took, the pressure after it."""

    held_by = "drawdown_functions"

    record = models.ForeignKey(Record, on_delete=models.PROTECT, related_name="drawdown_functions")
    order = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=80, help_text="Such as Annular, close.")
    movement = models.CharField(max_length=5, choices=Movement, default=Movement.CLOSE)
    position = models.ForeignKey(
        Position, on_delete=models.PROTECT, null=True, blank=True, related_name="drawdown_functions"
    )
    component = models.ForeignKey(
        Component, on_delete=models.PROTECT, null=True, blank=True, related_name="drawdown_functions"
    )
    component_as_tested = models.JSONField(null=True, blank=True)
    volume = QuantityField(Dimension.VOLUME, help_text="Of fluid taken from the bank.")
    volume_from = models.CharField(max_length=10, choices=VolumeFrom, default=VolumeFrom.COMPONENT)
    minimum_pressure = QuantityField(
        Dimension.PRESSURE, blank=True, help_text="The bank must still stand at, after this function."
    )
    minimum_working = models.JSONField(default=list, help_text="How the minimum came about, line by line.")
    limits = models.JSONField(default=dict, help_text="The time the rule allows, with its clause.")
    seconds = models.FloatField(null=True, blank=True, help_text="From activation to seal-off.")
    pressure_at_once = QuantityField(Dimension.PRESSURE, blank=True, help_text="Gauge, as the function was done.")
    pressure_settled = QuantityField(Dimension.PRESSURE, blank=True, help_text="Gauge, after the wait.")
    proposed = models.JSONField(null=True, blank=True, help_text="What the search found in the recorder's file.")
    remarks = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("record", "order")
        constraints = (
            models.UniqueConstraint(fields=["record", "order"], name="drawdownfunction_order_once"),
            models.CheckConstraint(
                condition=Q(volume_si__gt=0),
                name="drawdownfunction_volume_positive",
                violation_error_message="A function takes some fluid.",
            ),
            models.CheckConstraint(
                condition=Q(seconds__isnull=True) | Q(seconds__gt=0),
                name="drawdownfunction_seconds_positive",
                violation_error_message="A function takes some time.",
            ),
            models.CheckConstraint(
                condition=(Q(pressure_at_once_si__isnull=True) | Q(pressure_at_once_si__gte=0))
                & (Q(pressure_settled_si__isnull=True) | Q(pressure_settled_si__gte=0)),
                name="drawdownfunction_gauge_shows_pressure",
                violation_error_message="A gauge shows zero or more.",
            ),
            models.CheckConstraint(
                condition=Q(position__isnull=True, component__isnull=True)
                | Q(position__isnull=False, component__isnull=False),
                name="drawdownfunction_where_and_what",
                violation_error_message="A component stands in its position.",
            ),
            whole_quantity("drawdownfunction", "volume"),
            whole_quantity("drawdownfunction", "minimum_pressure"),
            whole_quantity("drawdownfunction", "pressure_at_once"),
            whole_quantity("drawdownfunction", "pressure_settled"),
        )

    def __str__(self) -> str:
        return f"Function {self.order}: {self.name}"


class PumpsRunning(models.TextChoices):
    ALL = "all", "All pumps"
    ONE_OUT = "one-out", "One pump or power system set out"


class Recharge(HeldByRecord):
    """One timed charging of a bank, from one pressure to another, by all pumps or with one set out."""

    held_by = "recharges"

    record = models.ForeignKey(Record, on_delete=models.PROTECT, related_name="recharges")
    order = models.PositiveSmallIntegerField()
    pumps = models.CharField(max_length=8, choices=PumpsRunning)
    pump_out = models.CharField(max_length=80, blank=True, help_text="Which pump or power was set out.")
    from_pressure = QuantityField(Dimension.PRESSURE, help_text="Gauge, when the pumps were started.")
    to_pressure = QuantityField(Dimension.PRESSURE, help_text="Gauge, when the clock was stopped.")
    seconds = models.FloatField()
    limits = models.JSONField(default=dict, help_text="The time the rule allows, with its clause.")
    verdict = models.JSONField(null=True, blank=True)
    outcome = models.CharField(max_length=8, choices=Outcome, default=Outcome.PENDING)
    remarks = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("record", "order")
        constraints = (
            models.UniqueConstraint(fields=["record", "order"], name="recharge_order_once"),
            models.CheckConstraint(
                condition=Q(to_pressure_si__gt=F("from_pressure_si")),
                name="recharge_rises",
                violation_error_message="A bank is charged to more than it began with.",
            ),
            models.CheckConstraint(
                condition=Q(seconds__gt=0),
                name="recharge_takes_time",
                violation_error_message="Charging takes some time.",
            ),
            models.CheckConstraint(
                condition=Q(pumps="all", pump_out="") | (Q(pumps="one-out") & ~Q(pump_out="")),
                name="recharge_names_pump_out",
                violation_error_message="With one pump set out, say which; with all running, none is out.",
            ),
            whole_quantity("recharge", "from_pressure"),
            whole_quantity("recharge", "to_pressure"),
        )

    def __str__(self) -> str:
        return f"Recharge {self.order}, {self.get_pumps_display().lower()}"


class PumpTest(HeldByRecord):
    """The heading of a pump test: whether the pumps charge the bank in time, start and stop where they should."""

    held_by = "pump_test"

    record = models.OneToOneField(Record, on_delete=models.PROTECT, primary_key=True, related_name="pump_test")
    bank = models.ForeignKey(Bank, on_delete=models.PROTECT, related_name="pump_tests")
    reason = models.CharField(max_length=24, choices=TestReason)
    operator = models.CharField(max_length=120, blank=True)
    bank_as_tested = models.JSONField(default=dict)
    verdict = models.JSONField(null=True, blank=True)
    outcome = models.CharField(max_length=8, choices=Outcome, default=Outcome.PENDING)

    def __str__(self) -> str:
        return str(self.record)


class PumpDuty(models.TextChoices):
    PRIMARY = "primary", "Primary"
    SECONDARY = "secondary", "Secondary"


class PumpDrive(models.TextChoices):
    ELECTRIC = "electric", "Electric"
    AIR = "air", "Air"
    OTHER = "other", "Other, see remarks"


class PumpReading(HeldByRecord):
    """Where one pump started and stopped by itself while the pressure fell and rose."""

    held_by = "pump_readings"

    record = models.ForeignKey(Record, on_delete=models.PROTECT, related_name="pump_readings")
    pump = models.CharField(max_length=80)
    duty = models.CharField(max_length=10, choices=PumpDuty)
    drive = models.CharField(max_length=10, choices=PumpDrive)
    starts_at = QuantityField(Dimension.PRESSURE, blank=True, help_text="Gauge, falling, when it started.")
    stops_at = QuantityField(Dimension.PRESSURE, blank=True, help_text="Gauge, rising, when it stopped.")
    air_supply = QuantityField(Dimension.PRESSURE, blank=True, help_text="Gauge, of the air that drove it.")
    limits = models.JSONField(default=list, help_text="What the rule asks of its settings, with its clause.")
    outcome = models.CharField(max_length=8, choices=Outcome, default=Outcome.PENDING)
    remarks = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("record", "pk")
        constraints = (
            models.UniqueConstraint(fields=["record", "pump"], name="pumpreading_once"),
            models.CheckConstraint(
                condition=Q(starts_at_si__isnull=True)
                | Q(stops_at_si__isnull=True)
                | Q(stops_at_si__gt=F("starts_at_si")),
                name="pumpreading_stops_over_start",
                violation_error_message="A pump stops at more than it started at.",
            ),
            whole_quantity("pumpreading", "starts_at"),
            whole_quantity("pumpreading", "stops_at"),
            whole_quantity("pumpreading", "air_supply"),
        )

    def __str__(self) -> str:
        return f"{self.pump} in {self.record}"
