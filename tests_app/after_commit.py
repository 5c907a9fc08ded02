"""Background work, started by name once the transaction is through: no import cycle, nothing sent too early."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

from celery import current_app
from django.db import transaction

AT_ONCE: Final = "celery"
"""Queue of what a person waits for."""
ALERTS: Final = "alerts"
"""Queue of alerts: they stand in line behind nothing else."""
BACKLOG: Final = "backlog"
"""Queue of what nobody waits for; the worker takes from all by turns, so that a heap here delays no one."""
_OF_ALERTS: Final = frozenset({"tests_app.deliver"})

_queue: ContextVar[str] = ContextVar("queue", default=AT_ONCE)


@contextmanager
def as_backlog() -> Iterator[None]:
    """Let what is enqueued inside wait behind what people wait for."""
    token = _queue.set(BACKLOG)
    try:
        yield
    finally:
        _queue.reset(token)


def enqueue(name: str, **keys: int) -> None:
    """Start the task `name` after commit. Tasks take keys only and read afresh; they may run twice.

    A queue that does not answer is logged and gone on from: the row is committed, and an error page would tell the
    person it was not. What was not queued is found again by the sweeps of the timetable.
    """

    queue = ALERTS if name in _OF_ALERTS else _queue.get()

    def send() -> None:
        # A function of its own and not a partial: Django names what failed by its __qualname__, which a partial lacks.
        current_app.send_task(name, kwargs=keys, queue=queue)

    transaction.on_commit(send, robust=True)
