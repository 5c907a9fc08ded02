"""What the set-up promises to the rest of the program: databases, health, headers, checks, version."""

import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from celery import current_app
from django.conf import settings
from django.core.cache import cache
from django.core.checks import run_checks
from django.core.management import call_command
from django.db import DatabaseError, connection
from django.test import Client, override_settings
from django.utils import timezone

from accounts.models import User
from config import heartbeat
from config.storage import kept_secret
from config.version import NoVersion, version_in
from tests.platform.waiting import wait_for
from trail import guards


@pytest.mark.django_db
def test_the_health_check_answers_before_any_host_or_redirect_rule():
    with override_settings(SECURE_SSL_REDIRECT=True):
        answer = Client().get("/healthz", headers={"host": "10.0.0.7"})
    assert answer.status_code == 200
    assert answer.json() == {"status": "ok", "version": settings.WELLHOLD_VERSION, "worker_heard": None}


def test_the_health_check_says_when_the_database_does_not_answer(monkeypatch: pytest.MonkeyPatch):
    def refuse() -> None:
        raise DatabaseError("no route to db-internal-7")

    monkeypatch.setattr(connection, "cursor", refuse)
    answer = Client().get("/healthz")
    assert answer.status_code == 503
    assert "db-internal-7" not in answer.text


@pytest.mark.django_db
def test_a_page_lets_the_browser_run_scripts_of_our_own_files_only():
    policy = Client().get("/sign-in/").headers["Content-Security-Policy"]
    directives = dict(part.strip().split(" ", 1) for part in policy.split(";") if part.strip())
    assert directives["script-src"] == "'self'"
    assert directives["default-src"] == "'self'"
    assert directives["object-src"] == "'none'"
    assert "http" not in policy


def pragma(name: str) -> str:
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA {name}")
        return str(cursor.fetchone()[0])


@pytest.mark.django_db
@pytest.mark.skipif(settings.DATABASES["default"]["ENGINE"] != "django.db.backends.sqlite3", reason="SQLite's own")
def test_sqlite_writes_ahead_holds_foreign_keys_and_waits_for_its_turn():
    assert pragma("journal_mode") == "wal"
    assert pragma("foreign_keys") == "1"
    assert int(pragma("busy_timeout")) >= 10_000
    assert connection.transaction_mode == "IMMEDIATE"  # type: ignore[attr-defined]


@pytest.fixture(autouse=True)
def _worker_never_heard() -> None:
    cache.clear()


@pytest.fixture
def rules_on_file(db: None) -> None:
    """The rule files taken on file, as setting up does."""
    call_command("load_rules", verbosity=0)


NOON = datetime(2026, 3, 31, 12, tzinfo=UTC)


@pytest.mark.parametrize(("minutes", "silent"), [(0, False), (3, False), (4, True)])
def test_a_worker_unheard_for_minutes_is_silent(minutes: int, silent: bool):
    heartbeat.leave_mark(NOON)
    assert heartbeat.is_silent(NOON + timedelta(minutes=minutes)) is silent


@pytest.mark.usefixtures("rules_on_file")
def test_a_worker_never_heard_is_a_warning():
    (found,) = run_checks(databases=["default"])
    assert (found.id, found.msg) == ("wellhold.W005", "No worker was ever heard.")


@pytest.mark.broker
def test_the_timetable_has_the_worker_leave_its_mark(worker: None):
    current_app.send_task(current_app.conf.beat_schedule["worker lives"]["task"])
    wait_for(lambda: heartbeat.last_heard() is not None)


@pytest.mark.usefixtures("rules_on_file")
def test_every_check_of_the_set_up_passes_on_a_fresh_database():
    heartbeat.leave_mark(timezone.now())
    found = run_checks(databases=["default"])
    assert [message.id for message in found] == []


@pytest.mark.django_db(transaction=True)
def test_a_missing_guard_is_an_error_that_says_what_to_do():
    guards.lift(connection)
    try:
        found = {message.id: message for message in run_checks(databases=["default"])}["wellhold.E002"]
    finally:
        guards.install(connection)
    assert found.hint is not None
    assert "manage.py migrate" in found.hint


@pytest.mark.django_db(transaction=True)
def test_migrate_makes_the_guards_a_new_version_asks_for():
    guards.lift(connection)
    try:
        call_command("migrate", verbosity=0, skip_checks=False)
        assert guards.missing(connection) == ()
    finally:
        guards.install(connection)


@override_settings(TIME_ZONE="Europe/Oslo")
def test_a_server_zone_other_than_utc_is_an_error():
    assert "wellhold.E001" in [message.id for message in run_checks()]


@pytest.mark.usefixtures("rules_on_file")
@override_settings(DEMO_ACCOUNTS_ALLOWED=False)
def test_a_demo_account_that_can_sign_in_is_an_error_where_it_is_not_wanted(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("config.checks.demo_logins", lambda: [{"user": "toolpusher", "password": "well-known"}])
    heartbeat.leave_mark(timezone.now())
    person = User.objects.create_user("toolpusher")
    assert [message.id for message in run_checks(databases=["default"])] == ["wellhold.E003"]
    person.is_active = False
    person.save()
    assert run_checks(databases=["default"]) == []


def test_two_processes_starting_together_keep_one_secret(tmp_path: Path):
    path = tmp_path / "secret-key"
    gate = threading.Barrier(8)
    found: list[str] = []

    def read() -> None:
        gate.wait()
        found.append(kept_secret(path))

    threads = [threading.Thread(target=read) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(set(found)) == 1
    assert len(found[0]) >= 50
    assert list(tmp_path.iterdir()) == [path]


def test_the_version_is_the_top_line_of_the_change_log(tmp_path: Path):
    log = tmp_path / "CHANGELOG.md"
    log.write_text("# 1.20.3\n\nWhat changed\n", encoding="utf-8")
    assert version_in(log) == "1.20.3"
    log.write_text("What changed\n\n# 1.20.3\n", encoding="utf-8")
    with pytest.raises(NoVersion, match="first line"):
        version_in(log)
