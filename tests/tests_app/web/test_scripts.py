"""What the pages do in a browser: marks on the plot, a repeated station, a file dropped, a form handed back."""

from datetime import timedelta

import pytest
from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.builders import PASSWORD
from tests.builders_tests_app import World, a_draft, a_recording, a_sealed_record, a_step, a_world, good, leaking
from tests_app.models import Record, Step

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def _four_hours_later() -> None:
    """Let the clock run: a browser throws away a cookie of a month ago."""


@pytest.fixture
def world(transactional_db: None) -> World:
    return a_world()


@pytest.fixture
def draft(world: World) -> Record:
    return a_draft(world, at=timezone.now() - timedelta(hours=4))


def sign_in(page: Page, world: World) -> None:
    page.goto(reverse("sign-in"))
    page.fill("[name=username]", world.supervisor.get_username())
    page.fill("[name=password]", PASSWORD)
    page.press("[name=password]", "Enter")
    page.wait_for_url("**/rigs/**")


def judged(draft: Record, world: World) -> Step:
    step = a_step(draft, world, "Upper pipe ram", at=timezone.now())
    a_recording(draft, world, good().then(leaking()), at=timezone.now())
    step.refresh_from_db()
    return step


def test_a_mark_dragged_on_the_plot_and_the_numbers_are_the_same_thing(page: Page, world: World, draft: Record):
    step = judged(draft, world)
    sign_in(page, world)
    page.goto(reverse("tests_app:record", args=[draft.pk]))
    plot = page.locator(f"#plot-file-{step.recording_id}")
    plot.scroll_into_view_if_needed()
    expect(plot).to_have_attribute("data-drawn", "yes", timeout=20_000)
    start = page.locator(f"form[data-mark=mark-{step.pk}] [data-mark-start]")
    before = start.input_value()
    box = plot.bounding_box()
    assert box
    x, y = box["x"] + box["width"] * 0.3, box["y"] + box["height"] * 0.6
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 40, y, steps=5)
    page.mouse.up()
    assert start.input_value() != before
    step.refresh_from_db()
    proposed = {name: step.proposed_marks[name] for name in ("start_s", "end_s")}
    assert step.chosen_marks == {**proposed, "confirmed": False}


def test_the_numbers_alone_judge_another_part(phone: Page, world: World, draft: Record):
    step = judged(draft, world)
    sign_in(phone, world)
    phone.goto(f"{reverse('tests_app:record', args=[draft.pk])}#step-{step.pk}")
    form = phone.locator(f"form[data-mark=mark-{step.pk}]")
    phone.get_by_text("Which part of the recording is judged").click()
    form.locator("[data-mark-start]").fill("0:15:00")
    form.locator("[data-mark-end]").fill("0:31:00")
    form.get_by_label("Why the marks are moved").fill("Another hold")
    expect(form.locator("[data-moved-note]")).to_be_visible()
    form.get_by_role("button", name="Judge this part").click()
    expect(phone.locator(f"#step-{step.pk}").get_by_text("Not passed").first).to_be_visible()


def test_a_station_used_last_time_is_pointed_out_as_it_is_chosen(page: Page, world: World):
    a_sealed_record(world)
    sign_in(page, world)
    page.goto(reverse("tests_app:pressure-test-new", args=[world.rig.pk]))
    note = page.get_by_text("The last test used this station as well.")
    expect(note).to_be_hidden()
    page.select_option("[name=control_station]", "drill-floor")
    expect(note).to_be_visible()


def test_ticking_elements_shows_what_the_step_has_to_show(phone: Page, world: World, draft: Record):
    sign_in(phone, world)
    phone.goto(reverse("tests_app:step-new", args=[draft.pk]))
    phone.get_by_label("Upper pipe ram").first.check()
    expect(phone.locator("#preview")).to_contain_text("then high at least 10,000 psi, never over 10,500 psi")
    phone.get_by_role("button", name="Add the step").click()
    expect(phone.get_by_text("Attach the recorder file of this step")).to_be_visible()


def test_what_was_typed_when_the_session_ended_is_sent_again(
    page: Page, world: World, allowed_console_errors: list[str]
):
    allowed_console_errors.append("status of 403")
    sign_in(page, world)
    page.goto(reverse("tests_app:pressure-test-new", args=[world.rig.pk]))
    page.fill("[name=remarks]", "Not to be typed twice")
    page.select_option("[name=control_station]", "remote")
    page.context.clear_cookies(name=settings.SESSION_COOKIE_NAME)
    page.get_by_role("button", name="Open the test").click()
    expect(page.get_by_role("heading", name="You were signed out")).to_be_visible()
    with page.context.expect_page() as opened:
        page.get_by_role("link", name="Sign in, in a new tab").click()
    sign_in(opened.value, world)
    page.get_by_role("button", name="Send it again").click()
    page.wait_for_url("**/records/**")
    assert Record.objects.get().remarks == "Not to be typed twice"


@pytest.mark.parametrize("width", [390, 1440])
def test_no_page_of_a_test_is_wider_than_the_screen(page: Page, world: World, draft: Record, width: int):
    judged(draft, world)
    sealed = a_sealed_record(world)
    page.set_viewport_size({"width": width, "height": 900})
    sign_in(page, world)
    for address in (
        reverse("tests_app:rig", args=[world.rig.pk]),
        reverse("tests_app:records", args=[world.rig.pk]),
        reverse("tests_app:record", args=[draft.pk]),
        reverse("tests_app:step-new", args=[draft.pk]),
        reverse("tests_app:record", args=[sealed.pk]),
        reverse("tests_app:calculation", args=["masp"]),
    ):
        page.goto(address)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, address
