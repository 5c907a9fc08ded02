"""Recorder files and chart scans, kept as received under their SHA-256."""

from django.conf import settings
from django.db import models

from tests_app.models.records import Record
from tests_app.models.sealing import HeldByRecord


class RecordingKind(models.TextChoices):
    SAMPLES = "samples", "Recorder file"
    CHART = "chart", "Scan or photo of a paper chart"


class Recording(HeldByRecord):
    """A file that belongs to a test: samples of one step or of the whole test, or a picture of a chart."""

    held_by = "recordings"
    record = models.ForeignKey(Record, on_delete=models.PROTECT, related_name="recordings")
    step = models.ForeignKey(
        "Step",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="recordings",
        help_text="Empty: the whole test.",
    )
    kind = models.CharField(max_length=8, choices=RecordingKind)
    file_name = models.CharField(max_length=200, help_text="As received.")
    sha256 = models.CharField("SHA-256", max_length=64)
    size = models.PositiveBigIntegerField()
    content_type = models.CharField(max_length=80)
    channel = models.CharField(max_length=120, blank=True)
    facts = models.JSONField(default=dict, help_text="Samples, span, interval, unit, clock, channels, as read.")
    curve = models.JSONField(default=dict, help_text="Reduced curve for plots; verdicts use the raw samples.")
    received_at = models.DateTimeField()
    received_from = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True, help_text="Set aside while in draft; kept on file.")
    withdrawn_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("record", "received_at", "id")

    def __str__(self) -> str:
        return self.file_name

    @property
    def has_several_channels(self) -> bool:
        """Tell whether more than one column of the file can be the pressure."""
        return len(self.facts.get("channels", ())) > 1

    @property
    def awaits_channel(self) -> bool:
        """Tell whether the tester has yet to say which column is the pressure; nothing is judged before."""
        return self.has_several_channels and not self.channel

    @property
    def awaits_search(self) -> bool:
        """Tell whether it is a file of the whole test in which no holds were looked for yet."""
        searched = self.facts.get("searched") or self.facts.get("holds")
        whole = self.kind == RecordingKind.SAMPLES and self.step_id is None
        return whole and self.withdrawn_at is None and not self.awaits_channel and not searched
