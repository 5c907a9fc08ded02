"""Background work is started by name: each name must belong to a task, or the work would silently never be done."""

import ast
from collections.abc import Iterator

from config.celery import app
from tests.architecture.source import modules


def enqueued_names() -> Iterator[tuple[str, str]]:
    for module in modules():
        for call in module.calls("enqueue"):
            yield module.place(call), ast.literal_eval(call.args[0])


def test_every_name_enqueued_is_a_task():
    app.loader.import_default_modules()
    unknown = {place: name for place, name in enqueued_names() if name not in app.tasks}
    assert unknown == {}


def test_the_timetable_starts_tasks_that_exist():
    app.loader.import_default_modules()
    unknown = {entry["task"] for entry in app.conf.beat_schedule.values()} - set(app.tasks)
    assert unknown == set()
