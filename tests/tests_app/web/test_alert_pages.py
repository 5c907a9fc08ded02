"""The pages of alerts: what a person was told, acknowledging, settings, messages, feeds."""

import os
from datetime import time
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests import builders
from tests.builders_alerts import BY, DUE, HOUR, Watch, a_watch
from tests_app.actions.sending import deliver
from tests_app.models import AlertSettings, FeedToken, Message, Notice


@pytest.fixture
def watch(db: None) -> Watch:
    watch = a_watch(instruments=3)
    watch.sweep(DUE)
    return watch


def signed_in(person: object) -> Client:
    client = Client()
    client.force_login(person)  # type: ignore[arg-type]
    return client


@pytest.fixture
def supervisor(watch: Watch) -> Client:
    return signed_in(watch.supervisor)


@pytest.fixture
def manager(watch: Watch) -> Client:
    return signed_in(watch.manager)


def page(client: Client, name: str, *args: object, **query: str) -> str:
    answer = client.get(reverse(f"tests_app:{name}", args=args), query)
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_head_of_every_page_counts_what_is_new_to_the_person(supervisor: Client, manager: Client, watch: Watch):
    assert 'aria-label="3 new alerts"' in page(supervisor, "alerts")
    assert "new alert" not in page(manager, "alerts").split("<main")[0]
    page(supervisor, "alert", Notice.objects.first().pk)
    assert 'aria-label="2 new alerts"' in page(supervisor, "alerts")
    supervisor.post(reverse("tests_app:alerts-seen"))
    assert "Nothing new to you" in page(supervisor, "alerts")


def test_one_s_own_alerts_are_filtered_and_exported(supervisor: Client, watch: Watch):
    assert page(supervisor, "alerts").count(">New</strong>") == 3
    assert "No alert matches" in page(supervisor, "alerts", standing="closed")
    assert "No alert matches" in page(supervisor, "alerts", what="drill")
    serial = watch.instruments[0].serial
    assert page(supervisor, "alerts", text=serial).count(">New</strong>") == 1
    export = supervisor.get(reverse("tests_app:alerts"), {"export": "csv"}).content.decode()
    assert export.count("\r\nOverdue,") == 3
    assert f"{watch.rig.name},2026-03-21T00:00-05:00" in export


def test_an_alert_is_acknowledged_with_all_of_its_date_and_a_note(supervisor: Client, watch: Watch):
    notice = Notice.objects.first()
    shown = page(supervisor, "alert", notice.pk)
    assert "Acknowledge the 2 others of the same stage and date with it" in shown
    assert "Was due before midnight at the end of 20 Mar 2026" in shown
    address = reverse("tests_app:alert", args=[notice.pk])
    refused = supervisor.post(address, {"note": " ", "others": "on"})
    assert refused.status_code == 422
    assert "Say what is being done about it" in refused.content.decode()
    assert supervisor.post(address, {"note": "Ashore since noon.", "others": "on"}).status_code == 302
    assert set(Notice.objects.values_list("note", flat=True)) == {"Ashore since noon."}
    assert "Ashore since noon." in page(supervisor, "alert", notice.pk)
    again = supervisor.post(address, {"note": "Me too."})
    assert again.status_code == 422
    assert "acknowledged this already" in again.content.decode()


def test_who_only_reads_acknowledges_nothing(watch: Watch):
    auditor = signed_in(builders.a_person(rig=watch.rig, role="auditor"))
    notice = Notice.objects.first()
    assert "acknowledges its alerts" in page(auditor, "alert", notice.pk)
    assert auditor.post(reverse("tests_app:alert", args=[notice.pk]), {"note": "x"}).status_code == 403


CHOICES = {
    "hours_before": "3 d, 12 h",
    "long_hours_before": "2 w",
    "each_day_overdue": "on",
    "roles": ["supervisor"],
    "by_mail": "on",
    "digest_at": "05:30",
    "quiet_from": "22:00",
    "quiet_until": "06:00",
    "escalate_after_hours": "6",
    "escalate_from_hours": "24",
}


def test_the_manager_chooses_how_the_rig_tells(manager: Client, watch: Watch):
    address = reverse("tests_app:alert-settings", args=[watch.rig.pk])
    assert manager.post(address, CHOICES).status_code == 302
    chosen = AlertSettings.objects.get()
    assert (chosen.hours_before, chosen.long_hours_before) == ([72, 12], [336])
    assert (chosen.quiet_from, chosen.digest_at, chosen.urgent_in_quiet) == (time(22), time(5, 30), False)
    shown = page(manager, "alert-settings", watch.rig.pk)
    assert "3 d, 12 h before, at the due date, and each day overdue" in shown
    assert f"{watch.manager}: stages of tests, stages of what takes weeks, " in shown


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"hours_before": "3 moons"}, "“3 moons” is no stage"),
        ({"hours_before": "9000 h"}, "1 hour to 90 days"),
        ({"long_hours_before": "0 h"}, "1 hour to 90 days"),
        ({"quiet_until": ""}, "Quiet hours have a beginning and an end."),
        ({"quiet_until": "22:00"}, "Quiet hours end when they begin."),
        ({"roles": []}, "Nobody would be told of anything."),
        ({"roles": ["lessee"]}, "Nobody would be told of anything."),
        ({"hook_url": "ftp://x/"}, "Only addresses that begin with http:// or https://"),
        ({"hook_url": "https://tower.example/"}, "fewer than 16 characters"),
        ({"escalate_after_hours": "9999"}, "1 hour to 30 days"),
    ],
)
def test_a_choice_that_makes_no_sense_is_refused_beside_its_field(
    manager: Client, watch: Watch, wrong: dict[str, object], said: str
):
    answer = manager.post(reverse("tests_app:alert-settings", args=[watch.rig.pk]), {**CHOICES, **wrong})
    assert answer.status_code == 422
    shown = answer.content.decode()
    assert said in shown
    assert "3 moons" in shown or "3 moons" not in str(wrong)


def test_the_secret_of_the_web_hook_is_never_shown(manager: Client, watch: Watch):
    address = reverse("tests_app:alert-settings", args=[watch.rig.pk])
    hook = {"hook_url": "https://tower.example/in", "hook_secret": "nobody-reads-this-here"}
    assert manager.post(address, {**CHOICES, **hook}).status_code == 302
    assert "nobody-reads-this-here" not in page(manager, "alert-settings", watch.rig.pk)
    auditor = signed_in(builders.a_person(rig=watch.rig, role="auditor"))
    assert "tower.example/in" not in page(auditor, "alert-settings", watch.rig.pk)


def test_the_messages_say_how_they_stand_and_one_that_failed_is_tried_again(manager: Client, watch: Watch):
    message = Message.objects.get()
    Message.objects.update(tries=30, given_up_at=DUE, last_error="Given up after 30 tries. Connection refused.")
    shown = page(manager, "messages", watch.rig.pk)
    assert "Given up" in shown
    assert "Connection refused" in shown
    assert manager.post(reverse("tests_app:message-again", args=[message.pk])).status_code == 302
    message.refresh_from_db()
    assert (message.given_up_at, message.tries) == (None, 0)
    supervisor = signed_in(watch.supervisor)
    assert supervisor.post(reverse("tests_app:message-again", args=[message.pk])).status_code == 403


def test_mail_kept_on_this_machine_is_read_on_the_page_of_its_message_by_who_runs_the_rig(
    manager: Client, supervisor: Client, watch: Watch, settings: Any, tmp_path: Path
):
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    settings.EMAIL_FILE_PATH = tmp_path
    assert manager.post(reverse("tests_app:alert-test", args=[watch.rig.pk]), {"to": "me"}).status_code == 302
    message = Message.objects.get(purpose="trial")
    assert deliver(message.pk, by=BY, at=message.created_at)
    for kept in tmp_path.iterdir():  # the clock of the files is not the test's
        os.utime(kept, (message.created_at.timestamp(),) * 2)
    assert "Alerts of this rig reach you at this address." in page(manager, "message", message.pk)
    assert "Alerts of this rig reach you" not in page(supervisor, "message", message.pk)


def test_a_feed_s_address_is_shown_once_and_revoked_by_its_owner_alone(
    supervisor: Client, manager: Client, watch: Watch
):
    address = reverse("tests_app:calendar-feeds")
    opened = supervisor.post(address, {"rig": watch.rig.pk, "name": "Phone"}).content.decode()
    assert "https://wellhold.test/feeds/" in opened
    assert "https://wellhold.test/feeds/" not in page(supervisor, "calendar-feeds")
    revoke = reverse("tests_app:calendar-feed-revoke", args=[FeedToken.objects.get().pk])
    assert manager.post(revoke).status_code == 404
    assert supervisor.post(revoke).status_code == 302
    assert FeedToken.objects.get().revoked_at is not None
    nameless = supervisor.post(address, {"rig": "", "name": ""})
    assert nameless.status_code == 422
    assert "Say where it is used" in nameless.content.decode()


def test_the_list_asks_as_many_questions_for_three_alerts_as_for_twenty(watch: Watch):
    counts = []
    for number in (0, 17):
        for _ in range(number):
            watch.instruments.append(builders.an_instrument(watch.rig, calibration_due_on=DUE.date()))
        watch.sweep(DUE + HOUR)
        client = signed_in(watch.supervisor)
        with CaptureQueriesContext(connection) as own:
            page(client, "alerts")
        with CaptureQueriesContext(connection) as of_rig:
            page(client, "rig-alerts", watch.rig.pk)
        counts.append((len(own), len(of_rig)))
    assert counts[0] == counts[1]
