"""What was brought in from elsewhere: files of rows, and tests somebody else made and signed on another paper."""

from typing import Final

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from calcs.units import Dimension
from equipment.models import Component, QuantityField, Rig
from equipment.models.quantities import whole_quantity
from tests_app.models.obligations import What
from tests_app.models.pressure_tests import PressureFrom

BROUGHT_TESTS: Final = ((What.PRESSURE.value, What.PRESSURE.label), (What.FUNCTION.value, What.FUNCTION.label))
"""Kinds of tests that can be brought in; the rest is entered as work done, with its paper."""


class SheetKind(models.TextChoices):
    """What the rows of a file are."""

    COMPONENTS = "components", "Components"
    INSTALLATIONS = "installations", "Installations"
    TESTS = "past-tests", "Past tests"


class FileState(models.TextChoices):
    WAITING = "waiting", "Being tried out"
    TRIED = "tried", "Tried out"
    CONFIRMED = "confirmed", "Being brought in"
    BROUGHT_IN = "brought-in", "Brought in"
    SET_ASIDE = "set-aside", "Set aside"


class BroughtFile(models.Model):
    """A file of rows as it was received, what trying it out showed, and whether it was brought in."""

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="brought_files")
    sheet = models.CharField(max_length=16, choices=SheetKind)
    name = models.CharField(max_length=200, help_text="File name as received.")
    sha256 = models.CharField(max_length=64)
    size = models.PositiveBigIntegerField()
    row_count = models.PositiveIntegerField()
    state = models.CharField(max_length=12, choices=FileState, default=FileState.WAITING)
    results = models.JSONField(default=list, blank=True, help_text="Row by row, as last tried out or brought in.")
    problem = models.CharField(max_length=300, blank=True, help_text="Why it stopped, where the rows do not say.")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+", help_text="Who acts."
    )
    received_at = models.DateTimeField()
    received_by = models.CharField(max_length=150)
    tried_at = models.DateTimeField(null=True, blank=True)
    brought_in_at = models.DateTimeField(null=True, blank=True)
    brought_in_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ("-received_at", "-id")
        indexes = (models.Index(fields=["rig", "-received_at"], name="broughtfile_by_rig"),)

    def __str__(self) -> str:
        return f"{self.get_sheet_display()} from {self.name}"


class BroughtTest(models.Model):
    """A test made and signed elsewhere. It is not signed here and no seal covers it; confirmed, it counts for dates."""

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="brought_tests")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="brought_tests")
    what = models.CharField(max_length=16, choices=BROUGHT_TESTS)
    pressure_from = models.CharField(max_length=12, choices=PressureFrom, blank=True)
    started_at = models.DateTimeField()
    concluded_at = models.DateTimeField()
    passed = models.BooleanField()
    low_pressure = QuantityField(Dimension.PRESSURE, blank=True, help_text="Lowest while the low hold lasted, gauge.")
    high_pressure = QuantityField(Dimension.PRESSURE, blank=True, help_text="Lowest while the high hold lasted, gauge.")
    held_minutes = models.DecimalField(max_digits=7, decimal_places=2, null=True, blank=True)
    tested_by = models.CharField(max_length=150, help_text="Who tested, with their company.")
    certificate_number = models.CharField(max_length=80, help_text="Of the paper of then.")
    remarks = models.TextField(blank=True)
    brought_in_with = models.ForeignKey(
        BroughtFile, on_delete=models.PROTECT, null=True, blank=True, related_name="tests"
    )
    entered_at = models.DateTimeField()
    entered_by = models.CharField(max_length=150)
    confirmed_at = models.DateTimeField(null=True, blank=True)
    confirmed_by = models.CharField(max_length=150, blank=True)
    confirmed_reference = models.CharField(
        max_length=200, blank=True, help_text="Paper it was compared with, and where that is kept."
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.CharField(max_length=150, blank=True)
    withdrawn_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("-concluded_at", "-id")
        constraints = (
            models.CheckConstraint(
                condition=Q(concluded_at__gte=F("started_at")),
                name="broughttest_concluded_after_start",
                violation_error_message="A test is over at or after its start.",
            ),
            models.CheckConstraint(
                condition=Q(confirmed_at__isnull=True) | ~Q(confirmed_reference=""),
                name="broughttest_confirmed_by_paper",
                violation_error_message="What is confirmed names the paper it was compared with.",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=True) | ~Q(withdrawn_reason=""),
                name="broughttest_withdrawn_with_reason",
                violation_error_message="What is withdrawn says why.",
            ),
            whole_quantity("broughttest", "low_pressure"),
            whole_quantity("broughttest", "high_pressure"),
        )
        indexes = (models.Index(fields=["rig", "component", "-concluded_at"], name="broughttest_by_component"),)

    def __str__(self) -> str:
        return f"{self.get_what_display()} of {self.component}, brought in"

    @property
    def counts(self) -> bool:
        """Tell whether due dates are counted from it."""
        return self.confirmed_at is not None and self.withdrawn_at is None
