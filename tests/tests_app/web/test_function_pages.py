"""The pages of a function test: opened from what is due, entered row by row, refused beside the field, signed, read."""

import re
from datetime import timedelta
from html import unescape

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from tests.builders_functions import a_function_draft, a_sealed_function_test, concluded, line_of, with_controls, worked
from tests.builders_tests_app import STARTED, World, a_world
from tests_app.models import FunctionLine, Record

RAMS = ("Upper pipe ram", "Lower pipe ram")


def said(answer: HttpResponse) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode())))


def new(world: World) -> str:
    return reverse("tests_app:function-test-new", args=[world.rig.pk])


def keys_ticked(answer: HttpResponse) -> set[str]:
    return set(re.findall(r'name="subjects" value="([^"]+)" checked', answer.content.decode()))


def posted(record: Record, **changed: str) -> dict[str, str]:
    """What the table of a draft sends as it stands, but for what changed: fields named by line and key."""
    found = {"version": str(record.version), "volume_unit": "gal", "length_unit": "in"}
    for line in record.function_lines.all():
        found |= {
            f"worked-{line.pk}": line.worked,
            f"station-{line.pk}": str(line.station_id or ""),
            f"closed_on-{line.pk}": line.closed_on,
            f"completed-{line.pk}": "",
        }
    return found | changed


def test_what_is_due_is_ticked_and_an_item_of_the_due_list_alone_where_it_is_asked_for(web: Client, world: World):
    with_controls(world)
    page = web.get(new(world))
    assert page.status_code == 200
    due = keys_ticked(page)
    ram = world.at(RAMS[0]).installations.get()
    assert f"function-test/installation-{ram.pk}" in due
    assert len(due) > 3
    alone = web.get(new(world), {"key": f"function-test/installation-{ram.pk}"})
    assert keys_ticked(alone) == {f"function-test/installation-{ram.pk}"}


def test_the_station_other_than_the_last_one_is_proposed(web: Client, world: World):
    items = with_controls(world)
    a_sealed_function_test(world, RAMS, station=items["Drill floor station"])
    page, other = web.get(new(world)).content.decode(), items["Toolpusher's station"].pk
    assert re.search(f'<option value="{other}" selected', page)
    assert "Drill floor station in test 1" in said(web.get(new(world)))


def test_it_is_opened_with_its_lines_and_a_refusal_keeps_what_was_typed(web: Client, world: World):
    station = with_controls(world)["Drill floor station"]
    ram = world.at(RAMS[0]).installations.get()
    asked = {
        "subjects": [f"function-test/installation-{ram.pk}"],
        "station": str(station.pk),
        "reason": "interval",
        "started_at": "2026-03-02T06:00",
        "pipe_in_hole_number": "five",
        "pipe_in_hole_unit": "in",
        "operator": "Per Holm",
    }
    refused = web.post(new(world), asked)
    assert refused.status_code == 422
    assert 'value="Per Holm"' in refused.content.decode()
    opened = web.post(new(world), {**asked, "pipe_in_hole_number": "5"})
    record = Record.objects.get()
    assert opened.headers["Location"] == reverse("tests_app:record", args=[record.pk])
    assert [str(line.station) for line in record.function_lines.all()] == ["Drill floor station"]


def test_lines_are_written_together_and_judged_at_once(web: Client, world: World):
    station = with_controls(world)["Drill floor station"]
    record = a_function_draft(world, *RAMS, station=station)
    first = line_of(record, RAMS[0])
    times = {f"closing_time-{first.pk}": "9.2", f"opening_time-{first.pk}": "1:05", f"completed-{first.pk}": "yes"}
    answer = web.post(reverse("tests_app:function-lines", args=[record.pk]), posted(record, **times))
    assert answer.status_code == 302
    first.refresh_from_db()
    assert (str(first.closing_time), str(first.opening_time), first.outcome) == ("9.2 s", "65 s", "passed")
    page = said(web.get(reverse("tests_app:record", args=[record.pk])))
    assert "30 s allowed, 20.8 s to spare." in page
    assert "No time limit: no rule was found for opening." in page


def test_a_figure_that_cannot_be_read_is_marked_beside_its_field_and_nothing_is_lost(web: Client, world: World):
    record = a_function_draft(world, *RAMS)
    first, second = (line_of(record, name) for name in RAMS)
    typed = posted(record, **{f"closing_time-{first.pk}": "fast", f"closing_time-{second.pk}": "8.5"})
    answer = web.post(reverse("tests_app:function-lines", args=[record.pk]), typed)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "“fast” is no time" in page
    assert 'value="8.5"' in page
    part = web.post(reverse("tests_app:function-lines", args=[record.pk]), typed, headers={"HX-Request": "true"})
    assert part.status_code == 422
    assert f'id="errors-closing_time-{first.pk}"' in part.content.decode()
    assert "Not saved yet" in said(part)
    assert not FunctionLine.objects.exclude(closing_time_value="").exists()


def test_a_row_left_is_saved_and_answered_with_every_verdict(web: Client, world: World):
    record = a_function_draft(world, *RAMS)
    first = line_of(record, RAMS[0])
    typed = posted(record, **{f"closing_time-{first.pk}": "31", f"completed-{first.pk}": "yes"})
    part = web.post(reverse("tests_app:function-lines", args=[record.pk]), typed, headers={"HX-Request": "true"})
    assert part.status_code == 200
    assert "Closing took 31 s; the rule allows 30 s." in said(part)
    record.refresh_from_db()
    assert f'value="{record.version}" hx-swap-oob="true"' in part.content.decode()
    stale = web.post(reverse("tests_app:function-lines", args=[record.pk]), typed)
    assert stale.status_code == 409
    assert "Somebody changed this test" in said(stale)


def test_what_failed_is_worked_again_and_a_line_added_or_taken_out(web: Client, world: World):
    record = worked(a_function_draft(world, *RAMS), world, {RAMS[0]: {"closing_time": "40 s"}})
    failed = line_of(record, RAMS[0])
    assert "Work it again" in said(web.get(reverse("tests_app:record", args=[record.pk])))
    web.post(reverse("tests_app:function-line-again", args=[failed.pk]))
    assert record.function_lines.count() == 3
    valve = world.at("Inner choke valve").installations.get()
    key = {"subject-subject": f"function-test/installation-{valve.pk}"}
    web.post(reverse("tests_app:function-line-new", args=[record.pk]), key)
    added = line_of(record, "Inner choke valve")
    web.post(reverse("tests_app:function-line-remove", args=[added.pk]))
    assert record.function_lines.count() == 3
    nothing = web.post(reverse("tests_app:function-line-new", args=[record.pk]), {})
    assert nothing.status_code == 422


def test_statements_are_confirmed_before_the_end_and_shown_with_their_clause(db: None):
    world = a_world("subsea")
    web = Client()
    web.force_login(world.supervisor)
    with_controls(world)
    record = worked(a_function_draft(world, "Deadman", reason="landed"), world)
    page = said(web.get(reverse("tests_app:record", args=[record.pk])))
    assert "The rig could have disconnected quickly." in page
    conclusion = reverse("tests_app:record-conclude", args=[record.pk])
    refused = web.post(conclusion, {"conclude-concluded_at": "2026-03-02T07:00"})
    assert refused.status_code == 422
    assert "Nobody confirmed yet" in said(refused)
    confirmed = {
        "statements-confirmed": ["rov-on-bottom", "well-secured", "quick-disconnect-possible"],
        "statements-said_by": "Uma Field",
    }
    web.post(reverse("tests_app:function-statements", args=[record.pk]), confirmed)
    assert web.post(conclusion, {"conclude-concluded_at": "2026-03-02T07:00"}).status_code == 302


def test_before_signing_a_repeat_of_the_station_is_read_with_its_clause(web: Client, world: World):
    station = with_controls(world)["Drill floor station"]
    a_sealed_function_test(world, RAMS, station=station, at=STARTED - timedelta(days=7))
    record = worked(a_function_draft(world, *RAMS, station=station), world)
    concluded(Record.objects.get(pk=record.pk), world)
    page = said(web.get(reverse("tests_app:record-sign", args=[record.pk])))
    assert "The same station as the time before, Drill floor station in test 1" in page
    assert "30 CFR 250.737(d)(9)" in page
    assert "You sign that this test was made as recorded above and passed." in page


def test_a_sealed_test_is_read_listed_checked_and_corrected(web: Client, world: World):
    record = a_sealed_function_test(world, RAMS, station=with_controls(world)["Drill floor station"])
    page = said(web.get(reverse("tests_app:record", args=[record.pk])))
    assert "Function test 1" in page
    assert "What it did to the due dates" in page
    listed = said(web.get(reverse("tests_app:records", args=[world.rig.pk]), {"kind": "function"}))
    assert "Function test" in listed
    verified = said(web.get(reverse("tests_app:verify", args=[record.sha256])))
    assert "The seal holds" in verified
    assert "Function test 1" in verified
    web.post(reverse("tests_app:record-correct", args=[record.pk]), {"reason": "The annular was misread."})
    correction = Record.objects.get(supersedes=record)
    assert "Corrects" in said(web.get(reverse("tests_app:record", args=[correction.pk])))


def test_the_heading_is_changed_and_a_draft_given_up(web: Client, world: World):
    record = a_function_draft(world, *RAMS)
    heading = reverse("tests_app:record-heading", args=[record.pk])
    assert web.get(heading).status_code == 200
    asked = {"reason": "interval", "started_at": "2026-03-02T05:00", "version": record.version, "operator": "Per Holm"}
    assert web.post(heading, asked).status_code == 302
    web.post(reverse("tests_app:record-discard", args=[record.pk]), {"discard-reason": "Not made after all."})
    assert "was discarded" in said(web.get(reverse("tests_app:record", args=[record.pk])))


@pytest.mark.parametrize("name", ["function-line-again", "function-line-remove"])
def test_another_rigs_people_find_no_lines(world: World, name: str):
    line = a_function_draft(world, *RAMS).function_lines.first()
    stranger = Client()
    stranger.force_login(a_world().supervisor)
    assert stranger.post(reverse(f"tests_app:{name}", args=[line.pk])).status_code == 404
