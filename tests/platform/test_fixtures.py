"""The fixtures others lean on do what they say: a worker that works, a page that notices what no page may do."""

from typing import Any

import pytest
from celery import shared_task
from django.contrib.auth.models import Group
from django.db import connection, transaction
from django.utils import timezone
from playwright.sync_api import Page

from tests.platform.waiting import wait_for
from tests_app.after_commit import enqueue
from trail.models import TrailEntry

DONE = "Group made by the worker"


@shared_task(name="tests.platform.make_group")
def make_group(number: int) -> None:
    Group.objects.create(name=f"{DONE} {number}")


@pytest.mark.broker
def test_the_worker_does_what_was_enqueued_on_commit(worker: None):
    with transaction.atomic():
        enqueue("tests.platform.make_group", number=7)
        assert not Group.objects.filter(name=f"{DONE} 7").exists()
    wait_for(lambda: Group.objects.filter(name=f"{DONE} 7").exists())


@pytest.mark.browser
def test_the_sign_in_page_opens_in_the_browser(page: Page):
    page.goto("/sign-in/")
    assert page.get_by_role("button", name="Sign in").is_visible()


@pytest.mark.browser
def test_the_sign_in_page_fits_a_phone(phone: Page):
    phone.goto("/sign-in/")
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.browser
def test_a_page_that_leaves_the_server_fails_its_test(open_page: Any):
    opened = open_page({"width": 800, "height": 600})
    page = opened.__enter__()
    page.goto("/sign-in/")
    page.evaluate("fetch('http://127.0.0.1:9/elsewhere').catch(() => 0)")
    with pytest.raises(AssertionError, match="elsewhere"):
        opened.__exit__(None, None, None)


@pytest.mark.browser
def test_a_script_written_into_a_page_does_not_run(open_page: Any, allowed_console_errors: list[str]):
    allowed_console_errors.append("Content Security Policy")
    with open_page({"width": 800, "height": 600}) as page:
        page.goto("/sign-in/")
        page.evaluate(
            """() => {
                const script = document.createElement("script");
                script.textContent = "window.ran = true";
                document.body.append(script);
            }"""
        )
        assert page.evaluate("window.ran") is None


@pytest.mark.django_db(transaction=True)
def test_guarded_rows_of_one_test_are_gone_in_the_next_first_part(django_user_model: Any):
    leave_a_guarded_row(django_user_model)


@pytest.mark.django_db(transaction=True)
def test_guarded_rows_of_one_test_are_gone_in_the_next_second_part(django_user_model: Any):
    leave_a_guarded_row(django_user_model)


def leave_a_guarded_row(users: Any) -> None:
    assert TrailEntry.objects.count() == 0
    person = users.objects.create_user("somebody")
    TrailEntry.objects.create(
        at=timezone.now(), actor=person, event="test.ran", subject_type="accounts.user", subject_id=person.pk
    )
    with pytest.raises(Exception, match="a trail entry never changes"), transaction.atomic():
        TrailEntry.objects.all().update(event="changed")
    assert connection.in_atomic_block is False
