"""Which component stood in which position, from when to when."""

from datetime import datetime

from django.db import models
from django.db.models import Q

from equipment.models.components import Component
from equipment.models.stacks import Position


class Installation(models.Model):
    """A component in a position over the half-open time from `installed_at` to `removed_at`.

    The database refuses two components in one position and one component in two positions at a time:
    partial unique indexes for what is open, guards (see equipment.guards) for the whole of history.
    """

    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="installations")
    position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="installations")
    installed_at = models.DateTimeField()
    removed_at = models.DateTimeField(null=True, blank=True)
    removal_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("position", "-installed_at")
        constraints = (
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True) | Q(removed_at__gt=models.F("installed_at")),
                name="installation_removed_after_installed",
                violation_error_message="A component is removed after it was installed.",
            ),
            models.UniqueConstraint(
                fields=["component"],
                condition=Q(removed_at__isnull=True),
                name="installation_component_once",
                violation_error_message="This component stands in another position: remove it there first.",
            ),
            models.UniqueConstraint(
                fields=["position"],
                condition=Q(removed_at__isnull=True),
                name="installation_position_once",
                violation_error_message="Another component stands in this position: remove it first.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.component} in {self.position}"

    def stood_at(self, at: datetime) -> bool:
        """Tell whether the component stood there at the moment: half-open, so a swap at noon is the new one."""
        return self.installed_at <= at and (self.removed_at is None or self.removed_at > at)
