"""Real workers on a real Redis, killed while they send: every alert reaches its reader, and none twice."""

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.utils import timezone

from config.celery import app
from tests import builders
from tests.architecture.source import ROOT
from tests.builders_alerts import Watch, a_watch
from tests.platform.waiting import wait_for
from tests.sinks import Mailbox, Receiver, a_mail_server, a_receiver
from tests_app.actions.sending import CLAIM_LASTS
from tests_app.models import Delivery, Message, Notice

pytestmark = pytest.mark.broker
Start = Callable[[], subprocess.Popen[bytes]]
SECRET = "a secret only these two know"


@pytest.fixture
def mailbox() -> Iterator[Mailbox]:
    with a_mail_server(held=True) as server:
        yield server


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with a_receiver() as found:
        yield found


@pytest.fixture
def start_worker(transactional_db: None, _redis_prefix: str, mailbox: Mailbox, tmp_path: Path) -> Iterator[Start]:
    """Start workers that use the test's database, queue, mail server and receiver; whatever still runs is ended."""
    app.control.purge()
    started: list[subprocess.Popen[bytes]] = []
    surroundings = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "tests.worker_settings",
        "WELLHOLD_TEST_DATABASE": str(connection.settings_dict["NAME"]),
        "WELLHOLD_TEST_PREFIX": _redis_prefix,
        "WELLHOLD_HOOKS_TO_PRIVATE": "1",
        "WELLHOLD_TEST_MAIL_PORT": str(mailbox.port),
        "PYTHONWARNINGS": "ignore",
    }

    def starting() -> subprocess.Popen[bytes]:
        with (tmp_path / "worker").open("ab") as log:
            worker = subprocess.Popen(
                [
                    *(sys.executable, "-m", "celery", "--quiet", "--app", "config", "worker"),
                    *("--pool", "solo", "--loglevel", "WARNING", "--without-mingle", "--without-gossip"),
                ],
                cwd=ROOT,
                env=surroundings,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        started.append(worker)
        return worker

    yield starting
    for worker in started:
        if worker.poll() is None:
            os.killpg(worker.pid, signal.SIGKILL)
        worker.wait()


@pytest.fixture
def watch(transactional_db: None, receiver: Receiver) -> Watch:
    """A rig with three instruments that ran out of calibration yesterday, known to nobody yet."""
    watch = a_watch(instruments=0, hook_url=receiver.address, hook_secret=SECRET)
    yesterday = (timezone.now() - timedelta(days=1)).astimezone(watch.rig.zone).date()
    for number in range(3):
        ran_out = yesterday - timedelta(days=number)
        made = builders.an_instrument(
            watch.rig, calibrated_on=ran_out - timedelta(days=365), calibration_due_on=ran_out, at=timezone.now()
        )
        watch.instruments.append(made)
    watch.keep(timezone.now())
    return watch


def order(name: str, *, times: int = 1) -> None:
    """Let beat order a task of the timetable, as often as there are beats."""
    for _ in range(times):
        app.send_task(name)


def let_claims_run_out() -> None:
    """Let the time pass after which a dead worker's claim is void."""
    for message in Message.objects.filter(claimed_at__isnull=False):
        message.claimed_at -= CLAIM_LASTS
        message.save(update_fields=["claimed_at"])


def test_a_worker_killed_while_it_sends_loses_and_doubles_nothing(
    watch: Watch, start_worker: Start, mailbox: Mailbox, receiver: Receiver
):
    # Two beats run by mistake, and each orders everything an hour late.
    order("tests_app.sweep", times=2)
    first = start_worker()
    # It stands in the middle of a mail when it is killed: the server has not said yes.
    wait_for(mailbox.asked.is_set)
    os.kill(first.pid, signal.SIGKILL)
    first.wait()
    assert Notice.objects.count() == 3
    assert Message.objects.filter(claimed_at__isnull=False, sent_at=None).count() == 1
    assert mailbox.taken == []

    mailbox.open.set()
    receiver.answers = [(503, {})]
    let_claims_run_out()
    order("tests_app.sweep", times=2)
    order("tests_app.deliver_waiting", times=2)
    start_worker()
    wait_for(lambda: Message.objects.filter(tries__gt=0, channel="hook").exists())
    # The receiver was out of order the first time; its minute passes.
    wait_for(lambda: not Message.objects.filter(channel="hook", claimed_at__isnull=False).exists())
    Message.objects.filter(channel="hook", sent_at=None).update(next_try_at=timezone.now())
    order("tests_app.deliver_waiting", times=3)
    wait_for(lambda: not Message.objects.filter(sent_at=None).exists())

    assert Notice.objects.count() == 3
    assert {one.stage for one in Notice.objects.all()} <= {"overdue", "overdue-day-1", "overdue-day-2", "overdue-day-3"}
    assert all_told_once(mailbox, receiver)


def all_told_once(mailbox: Mailbox, receiver: Receiver) -> bool:
    """Tell whether each notice stands in exactly one mail and one taken call, and no message came twice."""
    references = [str(mail["Message-ID"]) for mail in mailbox.taken]
    bodies = [mail.get_body(("plain",)).get_content() for mail in mailbox.taken]  # type: ignore[union-attr]
    subjects = list(Notice.objects.values_list("subject", flat=True))
    in_mails = [sum(subject in body for body in bodies) for subject in subjects]
    calls = {call.headers["Wellhold-Delivery"]: call.body.decode() for call in receiver.calls}
    in_calls = [sum(subject in body for body in calls.values()) for subject in subjects]
    assert len(set(references)) == len(references) == 1
    assert in_mails == in_calls == [1, 1, 1]
    # Once refused, once taken: the reader can tell by the id that it is one delivery.
    assert len(receiver.calls) == 2
    assert len(calls) == 1
    return Delivery.objects.filter(channel="app").count() == 3
