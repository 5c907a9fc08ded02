"""Papers somebody ordered that take long to make: what was asked, how far it is, and the PDF once it is made."""

from django.db import models

from equipment.models import Rig


class PaperStep(models.IntegerChoices):
    """How far an ordered paper is."""

    WAITS = 0, "Waits for its turn"
    WORKED_OUT = 1, "The months are being worked out"
    DRAWN = 2, "The paper is being drawn"
    MADE = 3, "Made"


class PaperSize(models.TextChoices):
    A4 = "a4", "A4"
    LETTER = "letter", "Letter"


class OrderedPaper(models.Model):
    """Twelve months of a rig on paper, as of the moment it was ordered; the bytes are kept under their hash."""

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="ordered_papers")
    month = models.CharField(max_length=7, help_text="The last of the twelve, such as 2026-03.")
    paper = models.CharField(max_length=8, choices=PaperSize)
    ordered_at = models.DateTimeField()
    ordered_by = models.CharField(max_length=150)
    step = models.PositiveSmallIntegerField(choices=PaperStep, default=PaperStep.WAITS)
    made_at = models.DateTimeField(null=True, blank=True)
    sha256 = models.CharField("SHA-256 of the PDF", max_length=64, blank=True)
    size = models.PositiveBigIntegerField(null=True, blank=True)
    error = models.CharField(max_length=300, blank=True, help_text="Why it could not be made.")

    class Meta:
        ordering = ("-ordered_at", "-id")
        indexes = (models.Index(fields=["rig", "-ordered_at"], name="orderedpaper_by_rig"),)

    def __str__(self) -> str:
        return f"Compliance of {self.rig} to {self.month}, {self.get_paper_display()}"
