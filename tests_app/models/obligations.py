"""What is owed: one requirement on one subject, as worked out from what happened.

These rows are derived. `tests_app.actions.obligations.reconcile` makes them anew from installations, programme and
records whenever it runs; nothing is true because it stands here. How an item stands at a moment (overdue, due soon) is
never stored: it is worked out from `events` and the moment, by `calcs.recurrence.due`.
"""

from django.db import models
from django.db.models import Case, F, Q, Value, When

from equipment.models import Bank, Component, ControlItem, Document, Elastomer, Installation, Instrument, Position, Rig
from equipment.models import Stack as BopStack
from tests_app.models.records import Record


class What(models.TextChoices):
    """What has to be done."""

    PRESSURE = "pressure-test", "Pressure test"
    FUNCTION = "function-test", "Function test"
    DRAWDOWN = "drawdown", "Drawdown test"
    PUMP = "pump-test", "Pump test"
    PRECHARGE = "precharge", "Precharge check"
    SHELL = "shell-test", "Shell test of bottles"
    CASING = "casing-test", "Casing test"
    INSPECTION = "inspection", "Inspection"
    OVERHAUL = "overhaul", "Overhaul"
    ELASTOMER = "elastomer", "Elastomer change"
    CALIBRATION = "calibration", "Calibration"
    DOCUMENT = "document", "Document renewal"
    DRILL = "drill", "Drill"
    NOTICE = "notice", "Notice"
    REPORT = "report", "Report"


class CountsAs(models.TextChoices):
    """What of an obligation's standing hangs on no moment: which of its columns say how it stands."""

    UNKNOWN = "unknown", "Cannot be worked out"
    OUT_OF_SERVICE = "out-of-service", "Out of service"
    FAILED_AT_ONCE = "failed-at-once", "Due at once, by an event, and not passed since"
    AT_ONCE = "at-once", "Due at once, by an event"
    FAILED = "failed", "Last test not passed"
    UNDATED = "undated", "In date, with no date"
    DATED = "dated", "Due by a date"


# What an event calls for is due at the moment it counts from; by the clock the date lies after that.
_AT_ONCE = Q(due_at=F("counts_from")) | Q(due_at__isnull=True, counts_from__isnull=True)
_FAILED = Q(failed_record__isnull=False) | ~Q(out_of_tolerance="")


class Obligation(models.Model):
    """One requirement on one subject of a rig, with all a page needs to show it at any moment after `worked_at`.

    `key` is ``<what>/<table>-<pk>`` of the subject, such as ``pressure-test/installation-12``; it stays the same as
    long as the subject does, so that deferrals and notices can name it.
    """

    rig = models.ForeignKey(Rig, on_delete=models.CASCADE, related_name="obligations")
    key = models.CharField(max_length=80)
    what = models.CharField(max_length=16, choices=What)
    subject = models.CharField(max_length=120, help_text="Such as Upper pipe ram.")
    subject_detail = models.CharField(max_length=160, blank=True, help_text="Such as Pipe ram PR-4471.")
    part = models.CharField(max_length=16, blank=True, help_text="Part of the system, see PartOfSystem.")
    stack = models.ForeignKey(BopStack, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    position = models.ForeignKey(Position, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    installation = models.ForeignKey(Installation, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    component = models.ForeignKey(Component, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    bank = models.ForeignKey(Bank, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    control_item = models.ForeignKey(ControlItem, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    instrument = models.ForeignKey(Instrument, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    document = models.ForeignKey(Document, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    elastomer = models.ForeignKey(Elastomer, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    edition = models.CharField(max_length=60, blank=True)
    rule_id = models.CharField(max_length=60, blank=True)
    clause = models.CharField(max_length=160, blank=True)
    confidence = models.CharField(max_length=12, blank=True)
    interval = models.CharField(max_length=16, blank=True, help_text="As calcs.recurrence.Interval reads it.")
    deadline = models.CharField(max_length=8, blank=True, help_text="midnight or exact.")
    events = models.JSONField(
        default=list, help_text="The events its date hangs on and no others, as the surface `due` takes them."
    )
    stated = models.JSONField(
        null=True, blank=True, help_text="Date and reason of what no interval governs (precharge, shell, papers)."
    )
    due_at = models.DateTimeField(null=True, blank=True, help_text="Exclusive; after a deferral, its end.")
    original_due_at = models.DateTimeField(null=True, blank=True, help_text="Before a deferral moved it.")
    counts_from = models.DateTimeField(null=True, blank=True)
    running_since = models.DateTimeField(null=True, blank=True, help_text="Of a test begun in time and not concluded.")
    out_of_service = models.BooleanField(default=False)
    attention_at = models.DateTimeField(null=True, blank=True, help_text="When its state changes next by itself.")
    last_record = models.ForeignKey(Record, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    last_done_at = models.DateTimeField(null=True, blank=True)
    failed_record = models.ForeignKey(Record, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    draft = models.ForeignKey(Record, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    first_owed = models.CharField(max_length=300, blank=True, help_text="Which first test is owed, in words.")
    note = models.TextField(blank=True, help_text="What the reader must know beside the reason.")
    out_of_tolerance = models.CharField(max_length=300, blank=True)
    stood_too_long_from = models.DateTimeField(
        null=True, blank=True, help_text="Never tested, it counts with the overdue from here on."
    )
    error = models.TextField(blank=True, help_text="Why it can't be worked out.")
    stops_operations = models.BooleanField(default=True, help_text="Whether work stops while it is overdue.")
    worked_at = models.DateTimeField()
    counts_as = models.GeneratedField(
        expression=Case(
            When(~Q(error=""), then=Value(CountsAs.UNKNOWN)),
            When(out_of_service=True, then=Value(CountsAs.OUT_OF_SERVICE)),
            When(_AT_ONCE & _FAILED, then=Value(CountsAs.FAILED_AT_ONCE)),
            When(_AT_ONCE, then=Value(CountsAs.AT_ONCE)),
            When(_FAILED, then=Value(CountsAs.FAILED)),
            When(due_at__isnull=True, then=Value(CountsAs.UNDATED)),
            default=Value(CountsAs.DATED),
        ),
        output_field=models.CharField(max_length=16, choices=CountsAs),
        db_persist=True,
        help_text="Written by the database, so that a fleet is counted without reading its obligations' texts.",
    )

    class Meta:
        ordering = ("rig", "due_at", "key")
        constraints = (models.UniqueConstraint(fields=["rig", "key"], name="obligation_once_a_rig"),)
        indexes = (
            models.Index(fields=["rig", "due_at"], name="obligation_by_rig_due"),
            models.Index(fields=["attention_at"], name="obligation_by_attention"),
            # All the fleet board counts, in the order it narrows by.
            models.Index(
                fields=["rig", "counts_as", "due_at", "running_since", "stops_operations", "original_due_at"],
                name="obligation_for_board",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_what_display()}: {self.subject}"


class PartOfSystem(models.TextChoices):
    """What the due list is grouped by: the groups of positions, and what stands in none."""

    BORE = "bore", "Stack bore"
    CHOKE_SIDE = "choke-side", "Choke side"
    KILL_SIDE = "kill-side", "Kill side"
    MANIFOLD = "manifold", "Choke and standpipe manifold"
    DRIVE = "drive", "Standpipe, kelly and top drive"
    STRING = "string", "Drill string"
    CONTROL = "control", "Closing unit and accumulators"
    RISER = "riser", "Riser and diverter"
    STATIONS = "stations", "Control stations and pods"
    WHOLE = "whole", "Stack as a whole"
    CREW = "crew", "Crew"
    INSTRUMENTS = "instruments", "Instruments"
    PAPERS = "papers", "Documents"


class Reckoning(models.Model):
    """When a rig's obligations were last worked out as a whole, and what came of it."""

    rig = models.OneToOneField(Rig, on_delete=models.CASCADE, primary_key=True, related_name="reckoning")
    worked_at = models.DateTimeField()
    changed = models.PositiveIntegerField(default=0, help_text="Rows the last run added, changed or took out.")
    error = models.TextField(blank=True)

    def __str__(self) -> str:
        return f"{self.rig}, {self.worked_at:%Y-%m-%d %H:%M}"
