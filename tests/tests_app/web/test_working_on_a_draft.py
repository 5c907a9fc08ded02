"""The page of a draft: steps, evidence, leaks, conclusion; each refusal in its place with nothing typed lost."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from tests.builders_tests_app import World, a_draft, a_recording, a_sealed_record, a_step, good, leaking
from tests_app.models import Line, Outcome, Record, Recording, Step


@pytest.fixture
def draft(world: World) -> Record:
    return a_draft(world)


@pytest.fixture
def step(world: World, draft: Record) -> Step:
    return a_step(draft, world, "Upper pipe ram", "Outer kill valve")


def page_of(web: Client, record: Record) -> str:
    return web.get(reverse("tests_app:record", args=[record.pk])).content.decode()


def csv(content: str | bytes, name: str = "pump.csv") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content.encode() if isinstance(content, str) else content, "text/csv")


def attach(web: Client, step: Step, **fields: object) -> HttpResponse:
    sent = {f"attach-{step.pk}-{name}": value for name, value in fields.items()}
    return web.post(reverse("tests_app:step-attach", args=[step.pk]), sent)


def said(answer: HttpResponse) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


# --- steps -----------------------------------------------------------------------------------------------------


def test_an_empty_draft_says_what_is_missing(web: Client, draft: Record):
    page = page_of(web, draft)
    assert "The test is not concluded." in page
    assert "The test has no step." in page
    assert "Read through and sign" not in page


def test_a_step_is_added_for_the_elements_ticked_and_named_after_them(web: Client, world: World, draft: Record):
    elements = [world.at("Upper pipe ram").pk, world.at("Outer kill valve").pk]
    answer = web.post(reverse("tests_app:step-new", args=[draft.pk]), {"element": elements, "pump_point": "Kill line"})
    step = Step.objects.get()
    assert answer["Location"].endswith(f"/#step-{step.pk}")
    assert step.name == "Upper pipe ram and outer kill valve"
    sides = {line.position.name: line.pressure_from for line in step.lines.all()}
    assert sides == {"Upper pipe ram": "below", "Outer kill valve": "well-side"}


def test_the_largest_fall_of_the_test_plan_is_given_in_the_form_and_said_on_the_page(
    web: Client, world: World, draft: Record
):
    typed = {"element": [world.at("Upper pipe ram").pk], "max_decay_number": "100", "max_decay_unit": "psi"}
    web.post(reverse("tests_app:step-new", args=[draft.pk]), typed)
    step = draft.steps.order_by("order").last()
    assert step is not None
    assert step.limits["max_decay"] == {"value": 100.0, "unit": "psi"}
    page = said(web.get(reverse("tests_app:record", args=[draft.pk])))
    assert re.search(r"falling no more than\s*100\spsi", page), page[page.find("each held") :][:200]
    assert 'value="100"' in web.get(reverse("tests_app:step", args=[step.pk])).content.decode()


def test_the_side_chosen_for_an_element_is_taken(web: Client, world: World, draft: Record):
    valve = world.at("Outer kill valve").pk
    web.post(reverse("tests_app:step-new", args=[draft.pk]), {"element": [valve], f"side-{valve}": "far-side"})
    assert Line.objects.get().pressure_from == "far-side"


def test_a_step_without_an_element_is_refused_with_its_words_kept(web: Client, draft: Record):
    answer = web.post(reverse("tests_app:step-new", args=[draft.pk]), {"pump_point": "Standpipe", "name": "First"})
    assert answer.status_code == 422
    assert "Tick at least one element" in said(answer)
    assert 'value="Standpipe"' in answer.content.decode()


def test_elements_one_hold_cannot_prove_are_refused_beside_the_ticks(web: Client, world: World, draft: Record):
    elements = [world.at("Annular").pk, world.at("Upper pipe ram").pk]
    answer = web.post(reverse("tests_app:step-new", args=[draft.pk]), {"element": elements})
    assert answer.status_code == 422
    assert "cannot be proved by one hold from below" in said(answer)
    assert f'value="{elements[0]}" checked' in answer.content.decode()


def test_the_preview_shows_the_pressures_before_anything_is_saved(web: Client, world: World, draft: Record):
    address = reverse("tests_app:step-preview", args=[draft.pk])
    text = said(web.get(address, {"element": [world.at("Upper pipe ram").pk]}))
    asked = "Low 250 psi to 350 psi , then high at least 10,000 psi , never over 10,500 psi , each held"
    assert asked in text.replace(" ,", " ,")
    assert "30 CFR 250.737" in text
    assert not Step.objects.exists()


@pytest.mark.parametrize("element", ["", "x", "-1", "99999999999999999999", "0"])
def test_a_preview_of_nonsense_is_an_empty_preview(web: Client, draft: Record, element: str):
    answer = web.get(reverse("tests_app:step-preview", args=[draft.pk]), {"element": element})
    assert answer.status_code == 200
    assert "Tick the elements" in said(answer)


def test_a_step_without_evidence_is_taken_out(web: Client, step: Step):
    web.post(reverse("tests_app:step-remove", args=[step.pk]))
    assert not Step.objects.exists()


def test_a_judged_step_stays_and_says_why(web: Client, world: World, draft: Record, step: Step):
    a_recording(draft, world, good(), step=step)
    answer = web.post(reverse("tests_app:step-remove", args=[step.pk]), follow=True)
    assert "what was tested stays" in said(answer)
    assert Step.objects.exists()


def test_a_failed_step_is_repeated_once_however_often_the_button_is_pressed(
    web: Client, world: World, draft: Record, step: Step
):
    a_recording(draft, world, leaking(), step=step)
    for _ in range(2):
        web.post(reverse("tests_app:step-retest", args=[step.pk]), {"once": "a1b2c3"})
    assert [one.retest_of for one in Step.objects.order_by("order")] == [None, step]
    assert "Repeated by step" in page_of(web, draft)


# --- recorder files --------------------------------------------------------------------------------------------


def test_a_file_is_attached_and_judged_in_words(web: Client, draft: Record, step: Step):
    answer = attach(web, step, file=csv(good().clock_csv(draft.started_at)))
    step.refresh_from_db()
    assert answer.status_code == 302
    assert step.outcome == Outcome.PASSED
    assert "Judged on every sample of pump.csv." in page_of(web, draft)


def test_a_failed_hold_gives_its_reason_and_offers_the_repeat(web: Client, world: World, draft: Record, step: Step):
    a_recording(draft, world, leaking(), step=step)
    page = page_of(web, draft)
    assert "Held 10,000 psi to 10,500 psi for" in page
    assert "Repeat as a new step" in page


def test_a_file_without_a_unit_is_kept_and_only_the_unit_asked(web: Client, step: Step):
    content = good().csv(head="Time (s),Pressure")
    refused = attach(web, step, file=csv(content))
    page = refused.content.decode()
    assert refused.status_code == 422
    assert "does not say the unit" in page
    assert "pump.csv is kept here" in page
    kept = re.search(rf'name="attach-{step.pk}-kept" value="([^"]+)"', page)
    assert kept
    answer = attach(web, step, kept=kept[1], pressure_unit="psi")
    step.refresh_from_db()
    assert answer.status_code == 302
    assert step.outcome == Outcome.PASSED
    assert step.recording.file_name == "pump.csv"


def test_a_forged_word_for_a_kept_file_is_no_file(web: Client, step: Step):
    answer = attach(web, step, kept="eyJzaGEyNTYiOiIifQ:1:forged", pressure_unit="psi")
    assert answer.status_code == 422
    assert "Choose the recorder" in said(answer)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "file is empty"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "not text"),
        (b"t,p psi\n0,300\n1,NaN\n2,300\n", "Line 3"),
        (b"Dear all,\nplease find the chart.\n", "No lines with a time and a pressure"),
        (b"t,p psi\n0,300\n1,301\n0.5,302\n", "time goes back"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_beside_its_field(web: Client, step: Step, content: bytes, words: str):
    answer = attach(web, step, file=csv(content), pressure_unit="psi")
    assert answer.status_code == 422
    assert words in said(answer)
    assert '<option value="psi" selected>' in answer.content.decode()
    assert not Recording.objects.exists()


def test_no_file_at_all_is_refused_with_what_to_do(web: Client, step: Step):
    assert "Choose the recorder" in said(attach(web, step))


def test_the_same_file_sent_twice_is_attached_once(web: Client, draft: Record, step: Step):
    for _ in range(2):
        sent = {f"attach-{step.pk}-file": csv(good().clock_csv(draft.started_at)), "once": "abc123"}
        web.post(reverse("tests_app:step-attach", args=[step.pk]), sent)
    assert Recording.objects.count() == 1


def test_a_file_of_the_whole_test_proposes_its_holds_to_the_steps(web: Client, world: World, draft: Record):
    first, second = (a_step(draft, world, name) for name in ("Upper pipe ram", "Blind-shear ram"))
    curve = good().then(leaking().with_noise(1))
    sent = {"attach-0-file": csv(curve.clock_csv(draft.started_at), "whole.csv")}
    answer = web.post(reverse("tests_app:record-attach", args=[draft.pk]), sent)
    page = page_of(web, draft)
    assert answer.status_code == 302
    assert [step.outcome for step in Step.objects.order_by("order")] == [Outcome.PASSED, Outcome.FAILED]
    assert "Hold 1" in page
    assert f'href="#step-{first.pk}"' in page
    assert f'href="#step-{second.pk}"' in page


def test_proposals_are_marked_and_confirmed_by_one_button(web: Client, world: World, draft: Record):
    a_step(draft, world, "Upper pipe ram")
    recording = a_recording(draft, world, good())
    page = web.get(reverse("tests_app:record", args=[draft.pk])).content.decode()
    assert "Proposed, confirm or move." in page
    assert "Confirm all proposals" in page
    confirm = reverse("tests_app:recording-confirm", args=[recording.pk])
    assert web.post(confirm).status_code == 302
    page = web.get(reverse("tests_app:record", args=[draft.pk])).content.decode()
    assert "Proposed, confirm or move." not in page
    assert "Confirm all proposals" not in page
    assert "waits to be confirmed" in web.post(confirm, follow=True).content.decode()


def test_marks_are_moved_by_numbers_alone_and_the_proposal_is_kept(web: Client, world: World, draft: Record):
    step = a_step(draft, world, "Upper pipe ram")
    recording = a_recording(draft, world, good())
    sent = {
        f"marks-{step.pk}-recording": recording.pk,
        f"marks-{step.pk}-start_s": "0:00:00",
        f"marks-{step.pk}-end_s": "14:00",
    }
    refused = web.post(reverse("tests_app:step-marks", args=[step.pk]), sent)
    assert refused.status_code == 422
    assert "The marks are moved without a reason." in refused.content.decode()
    sent[f"marks-{step.pk}-reason"] = "Pumped up before"
    answer = web.post(reverse("tests_app:step-marks", args=[step.pk]), sent)
    step.refresh_from_db()
    assert answer.status_code == 302
    page = web.get(reverse("tests_app:record", args=[draft.pk])).content.decode()
    assert "between marks the tester moved" in page
    assert "Judged on every sample" not in page
    assert (step.chosen_marks["start_s"], step.chosen_marks["end_s"]) == (0, 840)
    assert step.proposed_marks["start_s"] != 0 or step.proposed_marks["end_s"] != 840


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        ("0:10:00", "0:05:00", "ends before it begins"),
        ("soon", "0:05:00", "not a time into the recording"),
        ("", "0:05:00", "Give the time into the recording"),
        ("9:00:00", "9:30:00", ""),
    ],
)
def test_marks_that_cannot_be_are_refused_as_typed(
    web: Client, world: World, draft: Record, step: Step, start: str, end: str, words: str
):
    recording = a_recording(draft, world, good(), step=step)
    prefix = f"marks-{step.pk}"
    sent = {f"{prefix}-recording": recording.pk, f"{prefix}-start_s": start, f"{prefix}-end_s": end}
    answer = web.post(reverse("tests_app:step-marks", args=[step.pk]), sent)
    assert answer.status_code == 422
    assert words in said(answer)
    assert f'value="{end}"' in answer.content.decode()


def test_a_file_set_aside_leaves_its_step_without_evidence(web: Client, world: World, draft: Record, step: Step):
    recording = a_recording(draft, world, good(), step=step)
    address = reverse("tests_app:recording-withdraw", args=[recording.pk])
    assert web.post(address, {f"withdraw-{recording.pk}-reason": ""}).status_code == 422
    web.post(address, {f"withdraw-{recording.pk}-reason": "Of another test"})
    step.refresh_from_db()
    assert step.outcome == Outcome.PENDING
    assert "Files set aside: 1" in page_of(web, draft)


# --- charts and readings ---------------------------------------------------------------------------------------


def test_a_photo_of_the_chart_is_attached(web: Client, step: Step):
    photo = SimpleUploadedFile("chart.jpg", b"\xff\xd8\xff\xe0 invented", "image/jpeg")
    answer = web.post(reverse("tests_app:step-chart", args=[step.pk]), {f"chart-{step.pk}-file": photo})
    assert answer.status_code == 302
    assert Recording.objects.get().content_type == "image/jpeg"


def test_what_is_no_picture_is_refused_as_a_chart(web: Client, step: Step):
    text = SimpleUploadedFile("chart.jpg", b"<script>", "image/jpeg")
    answer = web.post(reverse("tests_app:step-chart", args=[step.pk]), {f"chart-{step.pk}-file": text})
    assert answer.status_code == 422
    assert "no picture and no PDF" in said(answer)


def readings(step: Step, **changes: str) -> dict[str, str]:
    typed = {
        "low_start_at": "2026-03-02T06:10:00",
        "low_end_at": "2026-03-02T06:15:00",
        "low_start_pressure_number": "300",
        "low_start_pressure_unit": "psi",
        "low_end_pressure_number": "295",
        "low_end_pressure_unit": "psi",
        "highest_before_number": "300",
        "highest_before_unit": "psi",
        "high_start_at": "2026-03-02T06:20:00",
        "high_end_at": "2026-03-02T06:25:00",
        "high_start_pressure_number": "10100",
        "high_start_pressure_unit": "psi",
        "high_end_pressure_number": "10080",
        "high_end_pressure_unit": "psi",
        "reason": "Recorder failed",
        **changes,
    }
    return {f"readings-{step.pk}-{name}": value for name, value in typed.items()}


def test_readings_typed_in_are_judged_and_marked_so(web: Client, draft: Record, step: Step):
    answer = web.post(reverse("tests_app:step-readings", args=[step.pk]), readings(step))
    step.refresh_from_db()
    assert answer.status_code == 302
    assert (step.evidence, step.outcome) == ("typed", Outcome.PASSED)
    assert "Judged by readings typed in: Recorder failed" in page_of(web, draft)


@pytest.mark.parametrize(
    ("field", "given", "words"),
    [
        ("reason", "", "Say why the readings are typed in"),
        ("low_end_at", "2026-03-02T06:05:00", "ends before it began"),
        ("low_start_at", "2026-03-02T05:00:00", "before the test was begun"),
        ("high_start_pressure_number", "", "Give a number and its unit"),
        ("high_end_pressure_number", "lots", "is not a number"),
        ("highest_before_number", "", "Give a number and its unit"),
        ("high_end_at", "2026-03-02T23:00:00", "ends in the future"),
    ],
)
def test_readings_that_cannot_be_are_refused_beside_their_field(
    web: Client, step: Step, field: str, given: str, words: str
):
    answer = web.post(reverse("tests_app:step-readings", args=[step.pk]), readings(step, **{field: given}))
    assert answer.status_code == 422
    assert words in said(answer)
    assert 'value="10100"' in answer.content.decode() or field == "high_start_pressure_number"


def test_readings_are_taken_back_with_a_reason(web: Client, step: Step):
    web.post(reverse("tests_app:step-readings", args=[step.pk]), readings(step))
    address = reverse("tests_app:step-take-back", args=[step.pk])
    assert web.post(address, {}).status_code == 422
    web.post(address, {f"take-back-{step.pk}-reason": "The file turned up"})
    step.refresh_from_db()
    assert step.evidence == "none"


# --- leaks, conclusion, giving up ------------------------------------------------------------------------------


def test_a_leak_fails_its_line_even_where_the_pressure_held(web: Client, world: World, draft: Record, step: Step):
    a_recording(draft, world, good(), step=step)
    line = step.lines.first()
    address = reverse("tests_app:line-note", args=[line.pk])
    prefix = f"line-{line.pk}"
    refused = web.post(address, {f"{prefix}-leak_seen": "on"})
    assert refused.status_code == 422
    assert "Say where and how much it leaked" in said(refused)
    web.post(address, {f"{prefix}-leak_seen": "on", f"{prefix}-leak_description": "Drops at the bonnet"})
    line.refresh_from_db()
    assert line.outcome == Outcome.FAILED
    assert "Pressure held, but a leak was seen" in page_of(web, draft)


def test_the_conclusion_is_taken_on_the_rigs_clock(web: Client, draft: Record):
    web.post(reverse("tests_app:record-conclude", args=[draft.pk]), {"conclude-concluded_at": "2026-03-02T09:00"})
    draft.refresh_from_db()
    assert draft.concluded_at.isoformat() == "2026-03-02T15:00:00+00:00"


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ("", "Give the time the last hold was over"),
        ("2026-03-02T05:00", "concludes after it started"),
        ("2026-03-02T23:00", "in the future"),
        ("noon", "not a date and time"),
    ],
)
def test_a_conclusion_that_cannot_be_is_refused(web: Client, draft: Record, given: str, words: str):
    answer = web.post(reverse("tests_app:record-conclude", args=[draft.pk]), {"conclude-concluded_at": given})
    assert answer.status_code == 422
    assert words in said(answer)


def test_a_draft_is_given_up_with_its_reason_and_stays_on_file(web: Client, draft: Record):
    address = reverse("tests_app:record-discard", args=[draft.pk])
    assert web.post(address, {"discard-reason": ""}).status_code == 422
    web.post(address, {"discard-reason": "Wrong stack"})
    assert "discarded" in page_of(web, draft)
    assert "Wrong stack" in page_of(web, draft)


def test_what_is_sent_to_a_signed_test_changes_nothing_and_comes_back(web: Client, world: World):
    sealed = a_sealed_record(world)
    step = sealed.steps.get()
    answer = web.post(reverse("tests_app:step-readings", args=[step.pk]), readings(step))
    assert answer.status_code == 409
    assert "nothing of this was saved" in said(answer)
    assert "Recorder failed" in said(answer)


@pytest.mark.parametrize("name", ["step-new", "step-preview"])
def test_a_signed_test_offers_no_new_step(web: Client, world: World, name: str):
    sealed = a_sealed_record(world)
    status = web.get(reverse(f"tests_app:{name}", args=[sealed.pk])).status_code
    assert status == (409 if name == "step-new" else 200)


def test_the_page_tells_who_did_what(web: Client, world: World, draft: Record, step: Step):
    a_recording(draft, world, good(), step=step)
    page = said(web.get(reverse("tests_app:record", args=[draft.pk])))
    assert "opened the test" in page
    assert "added Step 1: Upper pipe ram" in page
    assert "attached recorder.csv" in page


def test_a_page_of_many_steps_takes_no_more_queries_than_one_of_two(
    web: Client, world: World, draft: Record, django_assert_max_num_queries: DjangoAssertNumQueries
):
    for name in ("Upper pipe ram", "Lower pipe ram"):
        a_step(draft, world, name)
    with django_assert_max_num_queries(40) as few:
        page_of(web, draft)
    for name in ("Inner kill valve", "Outer kill valve", "Inner choke valve", "Outer choke valve", "Safety valve"):
        a_step(draft, world, name)
    with django_assert_max_num_queries(len(few)):
        page_of(web, draft)
