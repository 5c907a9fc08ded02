"""What beat starts, and when. In code, not in rows: a timetable somebody can empty by hand is no safety net."""

from datetime import timedelta
from typing import Any, Final

EVERY_MINUTE: Final = timedelta(minutes=1)
EVERY_FIVE_MINUTES: Final = timedelta(minutes=5)
TEN_MINUTES: Final = timedelta(minutes=10)


def timetable() -> dict[str, dict[str, Any]]:
    """Return Celery's beat schedule.

    What is late by a whole turn is dropped (`expires`), so that a worker that comes back is not met by a heap. Alerts
    are kept for longer: on a machine where each turn comes late, dropping every one would tell nobody of anything.
    """
    return {
        "worker lives": _entry("config.leave_mark", EVERY_MINUTE),
        "alert sweep": _alerts("tests_app.sweep"),
        "messages that wait": _alerts("tests_app.deliver_waiting"),
        "daily digests": _alerts("tests_app.make_digests"),
        "line-ups that wait": _entry("tests_app.plan_waiting", EVERY_MINUTE),
        "what is owed": _entry("tests_app.reconcile_all", EVERY_FIVE_MINUTES),
        "missing certificates": _entry("tests_app.make_missing_certificates", EVERY_FIVE_MINUTES),
    }


def _entry(task: str, every: timedelta) -> dict[str, Any]:
    return {"task": task, "schedule": every, "options": {"expires": every.total_seconds()}}


def _alerts(task: str) -> dict[str, Any]:
    options = {"expires": TEN_MINUTES.total_seconds(), "queue": "alerts"}
    return {"task": task, "schedule": EVERY_MINUTE, "options": options}
