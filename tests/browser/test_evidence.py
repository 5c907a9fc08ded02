"""Recorder files and readings on the test pages: one file for a whole test, marks moved, repeats, bad files."""

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import timedelta
from pathlib import Path
from typing import Final

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser import working
from tests.conftest import DESK
from tests_app.management.demo.recorder import MadeHold, as_csv, samples

SignedIn = Callable[..., AbstractContextManager[Page]]
RECORDINGS: Final = Path(__file__).resolve().parents[2] / "fixtures" / "recordings"
MORE_THAN_IS_TAKEN: Final = 200_000_000
SENT_WITHIN_MS: Final = 60_000
PDF_MARK: Final = b"%PDF-"


@pytest.fixture
def allowed_console_errors() -> list[str]:
    """Refusals answer 4xx, which the browser writes down."""
    return ["status of 422", "status of 413"]


def test_a_file_of_the_whole_test_is_cut_into_its_steps_and_a_mark_moved_changes_the_verdict(
    signed_in: SignedIn, tmp_path: Path
) -> None:
    with signed_in(DESK) as page:
        working.go_to_rig(page)
        working.open_test(page)
        steps = [
            working.add_step(page, ["Annular"], pump_point="Kill line"),
            working.add_step(page, ["Upper pipe ram", "Choke outer valve", "Kill outer valve"], pump_point="Test plug"),
        ]
        steps = list(page.locator(".step").all())
        attach_whole(page, working.recording_of(tmp_path, steps, seed=201))
        found = page.locator("#whole table")
        expect(found.locator("tbody tr")).to_have_count(2)
        for step in steps:
            expect(step.locator(".verdict")).to_contain_text("Passed")
            expect(step.locator(".verdict")).to_contain_text("Proposed, confirm or move.")
        working.confirm_proposals(page)
        drawn = page.locator("#whole [data-plot][data-drawn=yes] canvas").first
        drawn.scroll_into_view_if_needed()
        expect(drawn).to_be_visible(timeout=working.DRAWN_WITHIN_MS)
        start, end = marks_of(steps[1])
        move_marks(steps[1], start, soon_after(start, by=30), reason="Pumped up slowly")
        expect(steps[1].locator(".verdict")).to_contain_text("Not passed")
        expect(found).to_contain_text("moved to")
        move_marks(steps[1], start, end)
        expect(steps[1].locator(".verdict")).to_contain_text("Passed")


def test_a_hold_that_leaks_ends_in_a_report_and_its_repeat_in_a_certificate(
    signed_in: SignedIn, tmp_path: Path
) -> None:
    with signed_in(DESK) as page:
        working.go_to_rig(page)
        working.open_test(page)
        failed = working.add_step(page, ["Lower top-drive valve"], pump_point="Test sub")
        working.attach(failed, working.recording_of(tmp_path, [failed], seed=301, faults=["high-leak"]))
        expect(failed.locator(".verdict")).to_contain_text("Not passed")
        expect(failed.locator(".hold-reason").first).to_be_visible()
        working.conclude(page)
        working.sign(page)
        expect(page.get_by_role("heading", name="Report, not passed")).to_be_visible()
        report = working.pdf_of(page)
        assert report.startswith(PDF_MARK)
        assert "NOT PASSED" in working.text_of(report)
        working.go_to_rig(page)
        expect(working.due_row(page, "Lower top-drive valve")).to_contain_text("not passed")

        working.open_test(page)
        failed = working.add_step(page, ["Lower top-drive valve"], pump_point="Test sub")
        working.attach(failed, working.recording_of(tmp_path, [failed], seed=302, faults=["low-leak"]))
        expect(failed.locator(".verdict")).to_contain_text("Not passed")
        failed.get_by_role("button", name="Repeat as a new step").click()
        repeat = page.locator(".step").last
        expect(repeat).to_contain_text("Repeats step 1")
        working.attach(repeat, working.recording_of(tmp_path, [repeat], seed=303))
        expect(page.locator(".step").last.locator(".verdict")).to_contain_text("Passed")
        working.conclude(page)
        working.sign(page)
        expect(page.get_by_role("heading", name="Certificate", exact=True)).to_be_visible()
        assert "NOT PASSED" not in working.text_of(working.pdf_of(page))


def test_readings_typed_in_judge_a_step_and_are_marked_so(signed_in: SignedIn) -> None:
    with signed_in(DESK) as page:
        working.go_to_rig(page)
        working.open_test(page)
        step = working.add_step(page, ["Inside BOP"], pump_point="Test sub")
        type_readings(step, high_end="9,900")
        expect(page.locator(".step .verdict")).to_contain_text("Not passed")
        expect(page.locator(".step .verdict")).to_contain_text("readings typed in: Recorder battery flat")


def test_a_file_that_cannot_be_read_is_refused_beside_its_field_and_nothing_typed_is_lost(
    signed_in: SignedIn, tmp_path: Path
) -> None:
    with signed_in(DESK) as page:
        working.go_to_rig(page)
        working.open_test(page)
        working.add_step(page, ["Upper top-drive valve"], pump_point="Test sub")
        for name, content, says in BAD_FILES:
            path = tmp_path / name
            path.write_bytes(content)
            step = page.locator(".step")
            working.attach(step, path)
            expect(page.locator(".step .has-error, .step .error-summary").first).to_be_visible()
            expect(page.locator(".step")).to_contain_text(re.compile(says))
            expect(page.locator(".step .verdict")).to_have_count(0)


BAD_FILES: Final = (
    ("empty.csv", b"", "The file is empty"),
    ("picture.csv", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8, "binary|not text|no text"),
    ("words.csv", b"Elapsed (s),Pressure (psi)\n0,NaN\n2,NaN\n4,NaN\n", "NaN|number"),
    ("unit.csv", b"Elapsed (s),Pressure (furlong)\n0,1\n2,2\n4,3\n", "unit|furlong"),
)


def test_a_question_about_the_unit_is_answered_without_sending_the_file_again(
    signed_in: SignedIn, tmp_path: Path
) -> None:
    with signed_in(DESK) as page:
        working.go_to_rig(page)
        working.open_test(page)
        step = working.add_step(page, ["Upper top-drive valve"], pump_point="Test sub")
        target, hold = working.limits_of(step)
        text = as_csv(samples([MadeHold(target, hold)], seed=501)).replace("Pressure (psi)", "Pressure")
        path = tmp_path / "no-unit.csv"
        path.write_text(text, encoding="utf-8")
        working.attach(step, path)
        expect(page.locator(".step .error-summary")).to_contain_text("no-unit.csv is kept here")
        step.get_by_label("Pressure unit").select_option("psi")
        step.get_by_role("button", name="Attach and judge").click()
        expect(step.locator(".verdict")).to_contain_text("Judged on every sample of no-unit.csv")


@pytest.fixture
def large_file(tmp_path: Path) -> Path:
    """Two hundred megabytes of nothing, which take no room on the disk."""
    path = tmp_path / "large.csv"
    with path.open("wb") as file:
        file.truncate(MORE_THAN_IS_TAKEN)
    return path


def test_two_hundred_megabytes_are_refused_beside_the_field_before_they_are_sent(
    signed_in: SignedIn, large_file: Path
) -> None:
    with signed_in(DESK) as page:
        working.go_to_rig(page)
        working.open_test(page)
        step = working.add_step(page, ["Upper top-drive valve"], pump_point="Test sub")
        page.get_by_label("Concluded").fill("2026-03-01T10:20")
        working.attach(step, large_file)
        expect(step.locator(".has-error")).to_contain_text("large.csv is 200 MB; at most 64 MB is taken")
        expect(page.get_by_label("Concluded")).to_have_value("2026-03-01T10:20")


def test_two_hundred_megabytes_sent_all_the_same_are_refused_unread(signed_in: SignedIn, large_file: Path) -> None:
    with signed_in(DESK) as page:
        working.go_to_rig(page)
        working.open_test(page)
        step = working.add_step(page, ["Upper top-drive valve"], pump_point="Test sub")
        step.get_by_label("Recorder file").evaluate("field => delete field.dataset.maxBytes")
        working.attach(step, large_file)
        expect(page.get_by_role("heading", name="The file is too large")).to_be_visible(timeout=SENT_WITHIN_MS)
        page.get_by_role("link", name="Back to the test").click()
        expect(page.locator(".step")).to_contain_text("Not judged yet")


def attach_whole(page: Page, file: Path) -> None:
    """Attach one recorder file for all steps."""
    part = page.locator("#attach-whole")
    part.locator("summary").first.click()
    part.get_by_label("Recorder file").set_input_files(file)
    part.get_by_role("button", name="Attach and look for the holds").click()


def marks_of(step: Locator) -> tuple[str, str]:
    """Return the marks as the form of a step shows them."""
    working.unfold(step, "Which part of the recording is judged")
    return step.get_by_label("From", exact=True).input_value(), step.get_by_label("To", exact=True).input_value()


def move_marks(step: Locator, start: str, end: str, *, reason: str = "") -> None:
    """Put other marks in, and have the step judged by them."""
    working.unfold(step, "Which part of the recording is judged")
    step.get_by_label("From", exact=True).fill(start)
    step.get_by_label("To", exact=True).fill(end)
    step.get_by_label("Why the marks are moved").fill(reason)
    step.get_by_role("button", name="Judge this part").click()


def soon_after(start: str, *, by: int) -> str:
    """Return a time into the recording shortly after another."""
    hours, minutes, seconds = start.split(":")
    return str(timedelta(hours=int(hours), minutes=int(minutes), seconds=int(float(seconds)) + by))


def type_readings(step: Locator, *, high_end: str) -> None:
    """Type both holds of a step as read by eye."""
    working.unfold(step, "Type readings in")
    low, high = step.locator("fieldset", has_text="Low hold"), step.locator("fieldset", has_text="High hold")
    for part, began, values in ((low, 100, ("300", "298")), (high, 90, ("10,050", high_end))):
        part.get_by_label("Began").fill(working.on_the_rigs_clock(timedelta(minutes=began)))
        part.get_by_label("Ended").fill(working.on_the_rigs_clock(timedelta(minutes=began - 6)))
        for label, value in zip(("at its start", "at its end"), values, strict=True):
            part.get_by_role("group", name=f"Pressure {label}").get_by_role("textbox").fill(value)
    low.get_by_role("group", name="Highest pressure before it").get_by_role("textbox").fill("310")
    step.get_by_label("Why they are typed in").fill("Recorder battery flat")
    step.get_by_role("button", name="Judge by these readings").click()
