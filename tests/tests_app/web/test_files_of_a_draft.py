"""Files on the page of a draft: columns asked about, files searched again, and addresses that only take forms."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from tests.builders_tests_app import World, a_draft, a_judged_draft, a_recording, a_step, good
from tests_app.models import Recording, Step


def said(answer: HttpResponse) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def two_columns() -> SimpleUploadedFile:
    curve = good()
    rows = "\n".join(f"{t:.0f},1.5,{p:.2f}" for t, p in zip(curve.t, curve.p, strict=True))
    return SimpleUploadedFile("two.csv", f"Time (s),Standpipe (bar),Pump (psi)\n{rows}\n".encode(), "text/csv")


@pytest.fixture
def step(world: World) -> Step:
    return a_step(a_draft(world), world, "Upper pipe ram")


def attached(web: Client, step: Step) -> HttpResponse:
    sent = {f"attach-{step.pk}-file": two_columns()}
    return web.post(reverse("tests_app:step-attach", args=[step.pk]), sent, follow=True)


def choose(web: Client, recording: Recording, **fields: str) -> HttpResponse:
    sent = {f"channel-{recording.pk}-{name}": value for name, value in fields.items()}
    return web.post(reverse("tests_app:recording-channel", args=[recording.pk]), sent)


def test_a_file_of_two_columns_asks_which_is_the_pressure_and_shows_what_each_holds(web: Client, step: Step):
    page = said(attached(web, step))
    assert "two.csv is attached. Say which of its columns is the pressure." in page
    assert "This file has 2 columns that can be the pressure." in page
    assert re.search(r"Standpipe \(bar\) .* 1\.5 bar", page)
    assert re.search(r"Pump \(psi\) .* 10,100 psi", page)
    assert "Passed" not in page


def test_the_column_chosen_on_the_page_is_judged(web: Client, step: Step):
    attached(web, step)
    answer = choose(web, Recording.objects.get(), channel="Pump (psi)")
    assert answer["Location"].endswith(f"#step-{step.pk}")
    step.refresh_from_db()
    assert step.outcome == "passed"


def test_no_column_and_another_without_a_reason_are_refused_beside_their_fields(web: Client, step: Step):
    attached(web, step)
    recording = Recording.objects.get()
    answer = choose(web, recording)
    assert answer.status_code == 422
    assert "Choose the column the test was recorded on." in said(answer)
    choose(web, recording, channel="Pump (psi)")
    answer = choose(web, recording, channel="Standpipe (bar)")
    assert answer.status_code == 422
    assert "Another column is not taken without a reason." in said(answer)


def test_a_file_that_came_before_the_steps_is_searched_from_the_page(web: Client, world: World):
    record = a_draft(world)
    recording = a_recording(record, world, good())
    step = a_step(record, world, "Upper pipe ram")
    page = said(web.get(reverse("tests_app:record", args=[record.pk])))
    assert "This file is not searched for holds yet" in page
    assert "Search this file for holds" in page
    answer = web.post(reverse("tests_app:recording-search", args=[recording.pk]), follow=True)
    assert "A hold is proposed for step 1: look at it and confirm." in said(answer)
    step.refresh_from_db()
    assert step.outcome == "passed"


def test_a_search_that_finds_nothing_says_so(web: Client, world: World):
    record = a_draft(world)
    a_step(record, world, "Upper pipe ram")
    recording = a_recording(record, world, good())
    a_step(record, world, "Lower pipe ram")
    answer = web.post(reverse("tests_app:recording-search", args=[recording.pk]), follow=True)
    assert "No hold in it fits a step that has no evidence." in said(answer)


POSTED_OF_STEP = ["step-attach", "step-chart", "step-marks", "step-readings", "step-take-back"]
POSTED_OF_RECORD = ["record-attach", "record-chart", "record-conclude", "record-discard"]
POSTED_OF_FILE = ["recording-confirm", "recording-withdraw", "recording-search", "recording-channel"]


@pytest.mark.parametrize("name", [*POSTED_OF_STEP, "step-retest", "step-remove", *POSTED_OF_RECORD, *POSTED_OF_FILE])
def test_an_address_that_takes_a_form_leads_who_reloads_it_to_the_tests_page(web: Client, world: World, name: str):
    record = a_judged_draft(world)
    kind = name.partition("-")[0]
    subject = {"step": record.steps.get(), "record": record, "recording": record.recordings.get()}[kind]
    answer = web.get(reverse(f"tests_app:{name}", args=[subject.pk]))
    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("tests_app:record", args=[record.pk]))
    assert web.put(reverse(f"tests_app:{name}", args=[subject.pk])).status_code == 405


def test_the_form_of_a_line_leads_back_to_the_line(web: Client, world: World):
    line = a_judged_draft(world).steps.get().lines.get()
    assert web.get(reverse("tests_app:line-note", args=[line.pk]))["Location"].endswith(f"#line-{line.pk}")


def test_who_is_not_signed_in_signs_in_first(world: World):
    step = a_judged_draft(world).steps.get()
    answer = Client().get(reverse("tests_app:step-attach", args=[step.pk]))
    assert answer["Location"].startswith("/sign-in") or "next=" in answer["Location"]
