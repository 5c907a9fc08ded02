"""A certificate whose order was lost is made all the same."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from celery import current_app
from django.conf import settings
from kombu.exceptions import OperationalError

from config.timetable import timetable
from tests import builders_tests_app as builders
from tests.platform.waiting import wait_for
from tests_app.after_commit import ALERTS, AT_ONCE, BACKLOG, as_backlog, enqueue
from tests_app.models import Certificate, Record
from tests_app.queries.unissued import sealed_without_paper
from tests_app.tasks import make_certificate, make_missing_certificates


@pytest.fixture
def sealed(db: None) -> Record:
    """A sealed record whose certificate nobody made: in this test no worker runs and no order is carried out."""
    record = builders.a_sealed_record(builders.a_world())
    record.refresh_from_db()
    return record


def test_a_record_sealed_just_now_is_not_late(sealed: Record):
    assert sealed.sealed_at is not None
    assert sealed_without_paper(sealed.sealed_at + timedelta(minutes=4)) == []


def test_a_record_without_paper_is_late_until_it_has_one(sealed: Record):
    assert sealed.sealed_at is not None
    later = sealed.sealed_at + timedelta(minutes=6)
    assert sealed_without_paper(later) == [sealed.pk]
    make_certificate(record_id=sealed.pk)
    assert sealed_without_paper(later) == []


@pytest.mark.broker
def test_the_sweep_has_the_worker_make_what_is_missing(transactional_db: None, worker: None):
    record = builders.a_sealed_record(builders.a_world())
    record.refresh_from_db()
    current_app.control.purge()
    assert record.sealed_at is not None
    with time_machine.travel(record.sealed_at + timedelta(minutes=6), tick=True):
        make_missing_certificates()
        wait_for(lambda: Certificate.objects.filter(record=record).exists())


@pytest.mark.django_db(transaction=True)
def test_a_queue_that_does_not_answer_loses_nothing_and_shows_no_error(monkeypatch: pytest.MonkeyPatch):
    def refuse(*_: Any, **__: Any) -> None:
        raise OperationalError("no queue")

    monkeypatch.setattr(current_app, "send_task", refuse)
    enqueue("tests_app.make_certificate", record_id=1)


@pytest.mark.django_db(transaction=True)
def test_what_nobody_waits_for_goes_to_a_queue_of_its_own(monkeypatch: pytest.MonkeyPatch):
    sent: list[str] = []
    monkeypatch.setattr(current_app, "send_task", lambda name, kwargs, queue: sent.append(queue))
    with as_backlog():
        enqueue("tests_app.make_certificate", record_id=1)
    enqueue("tests_app.make_certificate", record_id=1)
    assert sent == [BACKLOG, AT_ONCE]
    assert {queue.name for queue in settings.CELERY_TASK_QUEUES} == {BACKLOG, AT_ONCE, ALERTS}


@pytest.mark.django_db(transaction=True)
def test_an_alert_stands_in_line_behind_no_heap_of_certificates(monkeypatch: pytest.MonkeyPatch):
    sent: list[str] = []
    monkeypatch.setattr(current_app, "send_task", lambda name, kwargs, queue: sent.append(queue))
    with as_backlog():
        enqueue("tests_app.deliver", message_id=1)
    assert sent == [ALERTS]
    swept = [entry["options"].get("queue") for entry in timetable().values() if entry["task"] == "tests_app.sweep"]
    assert swept == [ALERTS]
