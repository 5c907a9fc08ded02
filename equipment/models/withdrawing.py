"""Rows entered in error: withdrawn with a reason, never deleted, and seen no more by whoever reads what counts."""

from typing import Any

from django.db import models


class Counting(models.Manager[Any]):
    """The rows that were not withdrawn.

    It is the manager everything reads through by default: one forgotten condition would let a row entered in error
    renew a date or make a test count no more.
    """

    def get_queryset(self) -> models.QuerySet[Any]:
        """Return the rows that count."""
        return super().get_queryset().filter(withdrawn_at__isnull=True)


class Withdrawable(models.Model):
    """A row that can be withdrawn; `objects` leaves out what was, `everything` holds all."""

    withdrawn_at = models.DateTimeField(null=True, blank=True, editable=False)
    withdrawn_by = models.CharField(max_length=150, blank=True, editable=False)
    withdrawn_reason = models.CharField(max_length=300, blank=True, editable=False)

    objects = Counting()
    everything = models.Manager[Any]()

    class Meta:
        abstract = True
