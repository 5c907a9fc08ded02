"""A rig's programme: the rules it follows, a published edition or the rig's own numbered copy of one."""

from django.db import models

from equipment.models import Rig


class Programme(models.Model):
    """Which rules a rig tests by, from when."""

    rig = models.OneToOneField(Rig, on_delete=models.CASCADE, related_name="programme")
    edition = models.CharField(
        max_length=60, help_text="Id of the edition, such as us-ocs/2023, or of the rig's own copy, us-ocs/2023+7."
    )
    chosen_at = models.DateTimeField()
    chosen_by = models.CharField(max_length=150)

    def __str__(self) -> str:
        return f"{self.rig} by {self.edition}"


class ProgrammeCopy(models.Model):
    """A rig's own copy of a published edition in which single figures are changed.

    A copy never changes: a further change makes the next one, so that a test opened under a copy is judged by it for
    ever. `changes` holds them all, in the vocabulary of `calcs.programmes`.
    """

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="programme_copies")
    number = models.PositiveIntegerField(help_text="Counted on the rig.")
    source = models.CharField(max_length=40, help_text="Id of the published edition, such as us-ocs/2023.")
    changes = models.JSONField(default=list, help_text="Every changed figure, with its source value and approval.")
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150)
    reason = models.TextField(help_text="Why this copy was made.")

    class Meta:
        ordering = ("rig", "-number")
        verbose_name_plural = "programme copies"
        constraints = (
            models.UniqueConstraint(fields=["rig", "number"], name="programmecopy_number_once_a_rig"),
            models.CheckConstraint(
                condition=~models.Q(reason=""),
                name="programmecopy_has_reason",
                violation_error_message="Rules are not changed without a reason.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.source} with the own changes no. {self.number} of {self.rig}"

    @property
    def edition(self) -> str:
        """The id it goes by as an edition."""
        return f"{self.source}{MARK}{self.pk}"


MARK = "+"
"""Parts the id of the published edition from the key of the copy."""
