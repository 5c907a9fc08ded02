"""Background work, started by name once the transaction is through: no import cycle, nothing sent too early."""

from celery import current_app
from django.db import transaction


def enqueue(name: str, **keys: int) -> None:
    """Start the task `name` after commit. Tasks take keys only and read afresh; they may run twice.

    A queue that does not answer is logged and gone on from: the row is committed, and an error page would tell the
    person it was not. What was not queued is found again by the sweeps of the timetable.
    """

    def send() -> None:
        # A function of its own and not a partial: Django names what failed by its __qualname__, which a partial lacks.
        current_app.send_task(name, kwargs=keys)

    transaction.on_commit(send, robust=True)
