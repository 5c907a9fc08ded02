"""The auditor's pages: twelve months at a glance, how it stood at a moment, and why anything is due."""

import csv
import io
import re
from datetime import timedelta
from typing import Any

import pypdf
import pytest
import time_machine
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from accounts.models import User
from equipment.actions import installations
from tests import builders
from tests.builders_tests_app import SIGNED, STARTED, World, a_sealed_record, leaking
from tests.builders_work import a_deferral, key_of
from tests_app.actions import own_programmes
from tests_app.actions.ordered_papers import make_ordered_paper, order_compliance
from tests_app.models import OrderedPaper, PaperStep, Record
from tests_app.queries.due_list import due_list
from trail import entries

DAY = timedelta(days=1)
NOW = STARTED + 25 * DAY
RAM = "Upper pipe ram"


@pytest.fixture
def tested(world: World) -> Record:
    """Tested on 2 March, failed on the 12th, tested again on the 22nd; it is 27 March."""
    first = a_sealed_record(world)
    a_sealed_record(world, curve=leaking(), at=STARTED + 10 * DAY)
    a_sealed_record(world, at=STARTED + 20 * DAY)
    return first


def page(world: World, name: str, *more: str, person: User | None = None, **query: str) -> HttpResponse:
    client = Client()
    with time_machine.travel(NOW, tick=False):
        client.force_login(person or world.supervisor)
        return client.get(reverse(f"tests_app:{name}", args=[world.rig.pk, *more]), query)


def said(answer: HttpResponse) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def test_a_late_test_is_told_with_its_dates_its_length_why_and_what_ended_it(world: World, tested: Record):
    text = said(page(world, "compliance", text=RAM, what="pressure-test", how="overdue"))
    assert "17 Mar 2026, 00:00 UTC−5 22 Mar 2026, 10:00 UTC−5 5 d 10 h" in text
    assert "No test begun before midnight at the end of 16 Mar 2026, UTC−5, 14 days after the one that passed" in text
    assert "begun in time, failed." in text
    assert "Passed 22 Mar 2026, 10:00 UTC−5 ( Test 3 )" in text
    assert "Met throughout" not in text


def test_each_strip_says_in_words_what_it_draws(world: World, tested: Record):
    html = page(world, "compliance", text=RAM, what="pressure-test").content.decode()
    assert re.search(r'aria-label="Upper pipe ram: Not met twice, \d+ d \d+ h in all"', html)
    assert "style=" not in html.partition('class="strips"')[2].partition("</table>")[0]


def test_only_with_gaps_leaves_out_what_was_met_throughout(world: World, tested: Record):
    everything, gaps = (page(world, "compliance", **query) for query in ({}, {"only": "on"}))
    assert "Met throughout" in said(everything)
    assert "Met throughout" not in said(gaps)


def test_other_months_show_what_was_so_then(world: World, tested: Record):
    text = said(page(world, "compliance", month="2026-02", text=RAM, what="pressure-test"))
    assert "March 2025 to February 2026" in text
    assert "Not ended by the end of these months" in text
    assert "17 Mar 2026" not in text


def test_a_month_nobody_can_choose_shows_the_present_twelve(world: World):
    answer = page(world, "compliance", month="2099-01")
    assert "April 2025 to March 2026" in said(answer)
    assert "Select a valid choice" in said(answer)


def test_the_list_is_taken_along_with_a_row_for_each_element(world: World, tested: Record):
    answer = page(world, "compliance", export="csv", what="pressure-test")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    late = [row for row in rows if row["How"] == "Overdue" and RAM in row["Requirement"]]
    assert [(row["From"], row["Until"], row["How long"]) for row in late] == [
        ("2026-03-17T00:00-05:00", "2026-03-22T10:00-05:00", "130.0")
    ]
    assert sum("Annular" in row["Requirement"] for row in rows) == 1


def file_of(world: World, paper: OrderedPaper, person: User | None = None) -> HttpResponse:
    client = Client()
    client.force_login(person or world.supervisor)
    return client.get(reverse("tests_app:compliance-paper", args=[paper.pk]))


@pytest.mark.parametrize(("size", "points"), [("a4", (842, 595)), ("letter", (792, 612))])
def test_the_paper_holds_every_requirement_and_every_gap_and_numbers_its_pages(
    world: World, tested: Record, size: str, points: tuple[int, int]
):
    with time_machine.travel(NOW, tick=False):
        order = order_compliance(world.rig, month="2026-03", paper=size, by=world.supervisor, at=NOW)
        made = make_ordered_paper(order, by=world.supervisor, at=NOW)
    answer = file_of(world, made)
    reader = pypdf.PdfReader(io.BytesIO(answer.content))
    pages = [" ".join(one.extract_text().split()) for one in reader.pages]
    text = " ".join(pages)
    assert [round(float(edge)) for edge in reader.pages[0].mediabox[2:]] == list(points)
    for position in world.stack.positions.exclude(kind="closing-unit"):
        assert position.name in text
    assert "17 Mar 2026, 00:00 UTC−5" in text
    assert all(f"page {number} of {len(pages)}" in one for number, one in enumerate(pages, 1))
    assert "Decision support only" in pages[-1]


def order(world: World, person: User | None = None, **asked: str) -> HttpResponse:
    client = Client()
    with time_machine.travel(NOW, tick=False):
        client.force_login(person or world.supervisor)
        return client.post(reverse("tests_app:compliance-papers", args=[world.rig.pk]), asked)


def test_a_paper_is_ordered_by_an_auditor_and_the_page_tells_how_far_it_is(
    world: World, django_capture_on_commit_callbacks: Any
):
    auditor = builders.a_person(rig=world.rig, role="auditor")
    with django_capture_on_commit_callbacks() as started:
        assert order(world, auditor, paper="a4").status_code == 302
        assert order(world, auditor, paper="a4").status_code == 302
    paper = OrderedPaper.objects.get()
    assert len(started) == 1, "the same paper is not made twice at once"
    assert (paper.month, paper.step) == ("2026-03", PaperStep.WAITS)
    assert file_of(world, paper).status_code == 404
    waiting = page(world, "compliance-papers", person=auditor)
    assert "Waits for its turn." in said(waiting)
    assert 'hx-trigger="load delay:2s"' in waiting.content.decode()
    OrderedPaper.objects.update(step=PaperStep.DRAWN)
    assert 'max="3" value="2"' in page(world, "compliance-papers-part").content.decode()
    OrderedPaper.objects.update(ordered_at=NOW - timedelta(minutes=4))
    late = page(world, "compliance-papers-part")
    assert "Not made yet" in said(late)
    assert "hx-trigger" not in late.content.decode()
    stranger = builders.a_person(rig=builders.a_rig())
    assert file_of(world, paper, stranger).status_code == 404


def test_a_paper_made_twice_is_made_once_and_leads_to_its_file(world: World):
    made = []
    paper = order_compliance(world.rig, month="2026-02", paper="letter", by=world.supervisor, at=NOW)
    for _ in range(2):
        made.append(make_ordered_paper(OrderedPaper.objects.get(pk=paper.pk), by=world.supervisor, at=NOW).sha256)
    assert made[0] == made[1] != ""
    assert entries.of_subject(paper).filter(event="paper.made").count() == 1
    assert reverse("tests_app:compliance-paper", args=[paper.pk]) in page(world, "compliance-papers").content.decode()


def test_a_paper_that_can_not_be_made_says_why(world: World, monkeypatch: pytest.MonkeyPatch):
    paper = order_compliance(world.rig, month="2026-03", paper="a4", by=world.supervisor, at=NOW)

    def broken(*_: Any, **__: Any) -> bytes:
        raise ValueError("no font")

    monkeypatch.setattr("tests_app.actions.ordered_papers.print_compliance", broken)
    make_ordered_paper(paper, by=world.supervisor, at=NOW)
    assert "Could not be made ValueError: no font" in said(page(world, "compliance-papers"))


@pytest.mark.parametrize(
    ("asked", "words"),
    [({"month": "1999-01", "paper": "a4"}, "Select a valid choice"), ({"paper": "a0"}, "Select a valid choice")],
)
def test_a_paper_nobody_can_choose_is_refused_beside_its_field(world: World, asked: dict[str, str], words: str):
    answer = order(world, **asked)
    assert answer.status_code == 422
    assert words in said(answer)


def test_a_moment_is_answered_in_a_sentence(world: World, tested: Record):
    text = said(page(world, "as-of", at="2026-03-20T12:00", known="now", text=RAM, what="pressure-test"))
    assert f"On 20 Mar 2026, 12:00 UTC−5, as known now, {world.rig.name} was not in date:" in text
    assert "Overdue since midnight at the end of 16 Mar 2026, UTC−5" in text


def test_the_other_knowledge_is_told_where_it_gives_another_answer(world: World, tested: Record):
    # Over at 10:00 on the 22nd and signed at 11:00.
    text = said(page(world, "as-of", at="2026-03-22T10:30", known="then", text=RAM, what="pressure-test"))
    assert "Overdue since midnight at the end of 16 Mar 2026, UTC−5" in text
    assert "On the other knowledge the answer is another. On 22 Mar 2026, 10:30 UTC−5, as known now," in text


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("2026-05-01T12:00", "This moment lies ahead."),
        ("2026-03-08T02:30", "The clocks of America/Chicago go forward over this time, so it never came."),
        ("yesterday", "This is not a date and time."),
    ],
)
@pytest.mark.parametrize("name", ["as-of", "why"])
def test_a_moment_that_can_not_be_looked_at_says_why_and_stays_typed(world: World, name: str, typed: str, why: str):
    more = [key_of(world, "pressure-test", RAM)] if name == "why" else []
    answer = page(world, name, *more, at=typed, known="then")
    assert answer.status_code == 400
    assert why in said(answer)
    assert f'value="{typed}"' in answer.content.decode()


def test_why_opens_rule_events_and_sum(world: World, tested: Record):
    key = key_of(world, "pressure-test", RAM)
    answer = page(world, "why", key, at="2026-03-15T12:00")
    text = said(answer)
    assert "Counts from 2 Mar 2026, 09:00 UTC−6 (test concluded, passed)" in text
    assert "Plus 14 days on the calendar 16 Mar 2026" in text
    assert "End of that day 17 Mar 2026, 00:00 UTC−5, exclusive" in text
    assert "Clocks change between 8 Mar 2026, 03:00 UTC−5: from UTC−6 to UTC−5, 1 h forward" in text
    assert "Failed: it renews nothing." in text
    assert "1 event on file came after this moment and is not told here." in text
    assert reverse("tests_app:record", args=[tested.pk]) in answer.content.decode()
    assert "30 CFR 250.737(a)(2)" in text
    assert "The rig's own rules change nothing of it." in text


def test_why_shows_the_rigs_own_value_beside_the_published_one_with_its_reason(world: World, tested: Record):
    key = key_of(world, "pressure-test", RAM)
    rule = next(one for one in due_list(world.rig, at=NOW) if one.key == key).rule_id
    facts = {"rule": rule, "by": world.supervisor}
    own_programmes.change_figure(
        world.rig,
        figure="interval",
        own={"interval": "21 d", "deadline": "midnight"},
        approval="Letter 12",
        reason="Health monitoring plan",
        at=STARTED,
        **facts,
    )
    own_programmes.change_figure(world.rig, figure="hold", own="10 min", reason="Second thoughts", at=SIGNED, **facts)
    text = said(page(world, "why", key))
    beside = "14 days, to the midnight that ends the last day 30 CFR 250.737(a)(2) 21 days"
    assert beside in text
    assert re.search(r"Looser, approved under Letter 12 Health monitoring plan Ida Storm, .* copy no. 1", text)
    assert re.search(r"10 min Stricter needs no approval Second thoughts Ida Storm, .* copy no. 2", text)
    assert "The rig's own rules change nothing of it." not in text


def test_why_tells_of_a_deferral(world: World, tested: Record):
    key = key_of(world, "pressure-test", RAM)
    a_deferral(world, key, at=STARTED + 12 * DAY, until=STARTED + 18 * DAY)
    text = said(page(world, "why", key, at="2026-03-18T12:00"))
    assert "Moved by a deferral to 20 Mar 2026, 07:00 UTC−5" in text
    assert "approved by Karin Voss, drilling superintendent (DSP-014)" in text


def test_why_of_what_was_taken_out_answers_for_the_time_it_stood(world: World, tested: Record):
    key = key_of(world, "pressure-test", RAM)
    old, at = world.at(RAM).installations.get(), STARTED + 22 * DAY
    installations.remove_component(old, removed_at=at, reason="Worn", by=world.supervisor, at=at)
    builders.an_installation(world.at(RAM), installed_at=at, at=at)
    assert "Nothing of it was owed then" in said(page(world, "why", key))
    assert "Overdue since" in said(page(world, "why", key, at="2026-03-18T12:00"))


@pytest.mark.parametrize("key", ["pressure-test/installation-999999", "nonsense/rig-1", "pressure-test/a/b"])
def test_why_of_nothing_is_not_found(world: World, key: str):
    assert page(world, "why", key).status_code == 404


def test_nobody_sees_the_past_of_a_rig_not_theirs(world: World):
    stranger = builders.a_person()
    key = key_of(world, "pressure-test", RAM)
    for name, more in (("compliance", []), ("compliance-papers", []), ("as-of", []), ("why", [key])):
        assert page(world, name, *more, person=stranger).status_code == 404
