"""A rig's programme: the published edition it follows. Own stricter values come with the rules' widening."""

from django.db import models

from equipment.models import Rig


class Programme(models.Model):
    """Which edition of the rules a rig tests by, from when."""

    rig = models.OneToOneField(Rig, on_delete=models.CASCADE, related_name="programme")
    edition = models.CharField(max_length=60, help_text="Id of the edition, such as us-ocs.")
    chosen_at = models.DateTimeField()
    chosen_by = models.CharField(max_length=150)

    def __str__(self) -> str:
        return f"{self.rig} by {self.edition}"
