"""Background work, started by name once the transaction is through: no import cycle, nothing sent too early."""

from functools import partial

from celery import current_app
from django.db import transaction


def enqueue(name: str, **keys: int) -> None:
    """Start the task `name` after commit. Tasks take keys only and read afresh; they may run twice."""
    transaction.on_commit(partial(current_app.send_task, name, kwargs=keys))
