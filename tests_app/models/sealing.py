"""The kind refusal: a signed record says how to correct it, before the database's guards refuse any change.

This catches what goes through `save()` and `delete()`. Bulk writes and SQL go around it and meet the guards.
"""

from typing import Any, ClassVar

from django.db import models

from tests_app.errors import RecordIsSealed
from tests_app.models.records import Record


class HeldByRecord(models.Model):
    """A row that is frozen with its record; `held_by` leads from the record to rows of this kind."""

    held_by: ClassVar[str]

    class Meta:
        abstract = True

    def save(self, **options: Any) -> None:
        """Write the row; raises RecordIsSealed when the record it belongs to, or did, is frozen."""
        self._refuse_when_frozen(self._owners())
        super().save(**options)

    def delete(self, using: str | None = None, keep_parents: bool = False) -> tuple[int, dict[str, int]]:
        """Remove the row; raises RecordIsSealed when its record is frozen."""
        self._refuse_when_frozen(self._owners())
        return super().delete(using=using, keep_parents=keep_parents)

    def _owners(self) -> models.Q:
        """Return the condition that finds the record by the stored row and by what this row now points to."""
        parent, _, _ = self.held_by.rpartition("__")
        points_to = getattr(self, f"{'step' if parent else 'record'}_id")
        condition = models.Q(**{parent or "pk": points_to})
        return condition | models.Q(**{self.held_by: self.pk}) if self.pk is not None else condition

    def _refuse_when_frozen(self, owners: models.Q) -> None:
        frozen = Record.objects.filter(owners, frozen_at__isnull=False)
        # Asked at every save, and nearly always answered with none: no column of a record is read for that.
        if frozen.exists():
            raise RecordIsSealed(frozen[0])
