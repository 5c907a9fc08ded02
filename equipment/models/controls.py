"""The control system as a rig works it: stations, panels, pods, and what closes the stack or lets go by itself."""

from django.db import models
from django.db.models import Q

from equipment.models.stacks import Stack


class ControlKind(models.TextChoices):
    """What a control item is; the values are those of `calcs.schedule_rules.THING_LABELS`."""

    STATION = "control-station", "Control station"
    REMOTE_PANEL = "remote-panel", "Remote panel"
    POD = "pod", "Control pod"
    DEADMAN = "deadman", "Deadman"
    AUTOSHEAR = "autoshear", "Autoshear"
    EMERGENCY_DISCONNECT = "emergency-disconnect", "Emergency disconnect"
    ROV_INTERVENTION = "rov-intervention", "Functions worked by ROV"


class ControlPlace(models.TextChoices):
    """Which station or pod it is; the values are those a test's heading names."""

    DRILL_FLOOR = "drill-floor", "Drill floor"
    REMOTE = "remote", "Remote station"
    CLOSING_UNIT = "closing-unit", "At the closing unit"
    BLUE = "blue", "Blue pod"
    YELLOW = "yellow", "Yellow pod"


class ControlItem(models.Model):
    """One part of a stack's control system that is function tested as an item of its own."""

    stack = models.ForeignKey(Stack, on_delete=models.PROTECT, related_name="control_items")
    kind = models.CharField(max_length=24, choices=ControlKind)
    name = models.CharField(max_length=60, help_text="Such as Drill floor station.")
    place = models.CharField(max_length=16, choices=ControlPlace, blank=True, help_text="Of stations and pods.")
    in_service_from = models.DateTimeField()
    retired_at = models.DateTimeField(null=True, blank=True)
    retired_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("stack", "kind", "name")
        constraints = (
            models.UniqueConstraint(
                fields=["stack", "name"],
                name="controlitem_name_once_a_stack",
                violation_error_message="The stack has a control item of this name.",
            ),
            models.UniqueConstraint(
                fields=["stack", "kind", "place"],
                condition=~Q(place="") & Q(retired_at__isnull=True),
                name="controlitem_place_once_a_stack",
                violation_error_message="The stack has this station or pod in service already.",
            ),
            models.CheckConstraint(
                condition=Q(retired_at__isnull=True) | Q(retired_at__gt=models.F("in_service_from")),
                name="controlitem_retired_after_start",
                violation_error_message="It is retired after it came into service.",
            ),
        )

    def __str__(self) -> str:
        return self.name
