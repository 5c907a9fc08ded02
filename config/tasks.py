"""The outermost layer's own task."""

from celery import shared_task
from django.utils import timezone

from config import heartbeat


@shared_task(name="config.leave_mark")
def leave_mark() -> None:
    """Note that timetable, queue and worker all work: only then does this run."""
    heartbeat.leave_mark(timezone.now())
