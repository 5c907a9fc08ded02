"""The Celery application; tasks are found in each app's `tasks` module."""

import os
from typing import Any

from celery import Celery
from celery.signals import task_postrun, worker_ready

from config.timetable import timetable

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.embedded")

app = Celery("wellhold")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.conf.beat_schedule = timetable()
app.autodiscover_tasks()


@worker_ready.connect
def _mark_ready(**_: Any) -> None:
    """Leave the first mark at once: who starts the product need not wait a minute to know that the worker lives."""
    _leave_mark()


@task_postrun.connect
def _mark_done(**_: Any) -> None:
    """Leave a mark after every task: behind a heap of certificates the timetable's own mark would come late."""
    _leave_mark()


def _leave_mark() -> None:
    app.tasks["config.leave_mark"].run()
