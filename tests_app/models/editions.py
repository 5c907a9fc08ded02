"""Editions as they were loaded: every text a rule file ever had here stays on file, known by its hash."""

from django.db import models


class EditionText(models.Model):
    """One text of one edition. A figure put right in a shipped file makes another row; none is ever changed."""

    edition = models.CharField(max_length=60, help_text="Id of the edition, such as us-ocs/2023.")
    sha256 = models.CharField("SHA-256 of the content", max_length=64)
    content = models.JSONField(help_text="The rule file, as JSON.")
    title = models.CharField(max_length=200)
    edition_words = models.CharField(max_length=200)
    source = models.TextField()
    effective_from = models.DateField(null=True, blank=True)
    effective_until = models.DateField(null=True, blank=True)
    checked_on = models.DateField(help_text="When the figures were last compared with their source.")
    loaded_at = models.DateTimeField()

    class Meta:
        ordering = ("edition", "loaded_at", "id")
        constraints = (models.UniqueConstraint(fields=["edition", "sha256"], name="editiontext_once"),)

    def __str__(self) -> str:
        return f"{self.edition} ({self.sha256[:12]})"
