"""The front page of a rig: what is due, how it is parted, narrowed and taken along, and what may be done about it."""

import io
import re
from datetime import timedelta

import pypdf
import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from equipment.models import StackKind
from tests import builders
from tests.builders_tests_app import SIGNED, STARTED, World, a_draft, a_sealed_record, a_step, leaking
from tests.builders_work import a_deferral, a_postponement, key_of
from tests_app.actions.obligations import reconcile
from tests_app.queries.due_list import due_list
from tests_app.web.due_groups import DATES
from tests_app.web.front import summary_of


def front(web: Client, world: World, **query: str) -> HttpResponse:
    return web.get(reverse("tests_app:rig", args=[world.rig.pk]), query)


def said(answer: HttpResponse) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def test_the_rig_is_summed_up_in_a_sentence(web: Client, world: World):
    a_sealed_record(world)
    assert re.search(r"\d+ were never tested and \d+ are in date\.", said(front(web, world)))


def test_a_rig_in_date_says_that_nothing_is_overdue(world: World):
    a_sealed_record(world)
    items = [item for item in due_list(world.rig, at=STARTED + timedelta(hours=4)) if item.state == "in-date"]
    assert summary_of(items[:1]) == "Nothing is overdue and 1 is in date."


def test_a_row_gives_both_dates_its_clause_and_the_way_to_why(web: Client, world: World):
    record = a_sealed_record(world)
    page = said(front(web, world, text="Upper pipe ram", what="pressure-test"))
    assert "midnight at the end of 16 Mar 2026, UTC−5" in page
    assert "better before 16 Mar 2026, 10:00 UTC−5" in page
    assert "30 CFR 250.737(a)(2)" in page
    shown = front(web, world, what="pressure-test").content.decode()
    assert reverse("tests_app:record", args=[record.pk]) in shown
    assert reverse("tests_app:why", args=[world.rig.pk, key_of(world, "pressure-test", "Upper pipe ram")]) in shown


def test_a_failed_test_stands_before_what_was_put_in_lately(web: Client, world: World):
    a_sealed_record(world, curve=leaking())
    fresh = world.at("Annular").installations.get()
    fresh.installed_at = STARTED
    fresh.save()
    reconcile(world.rig, at=SIGNED)
    page = said(front(web, world, by="nothing", what="pressure-test"))
    rows = page.partition("Begin the next before")[2]
    assert rows.index("Last test not passed Upper pipe ram") < rows.index("Annular Pressure test")


def parts(page: HttpResponse) -> list[str]:
    return re.findall(r'<tr class="group-head" id="part-([a-z0-9-]+)">', page.content.decode())


def test_by_date_each_part_stands_once_the_overdue_before_all_that_is_in_date(web: Client, world: World):
    a_sealed_record(world)
    a_sealed_record(world, curve=leaking())
    found = parts(front(web, world))
    assert found == sorted(set(found), key=list(DATES).index)
    assert found.index("now") < found.index("days-30")


@pytest.mark.parametrize("sort", ["", "element", "-next_due"])
def test_sorting_never_mixes_the_parts(web: Client, world: World, sort: str):
    found = parts(front(web, world, by="part", sort=sort))
    assert found[:4] == ["bore", "choke-side", "kill-side", "manifold"]
    assert len(found) == len(set(found))


def test_by_who_tests_and_maintenance_are_apart(web: Client, world: World):
    builders.an_elastomer(world.at("Annular").installations.get().component)
    assert parts(front(web, world, by="who"))[:2] == ["testing", "maintenance"]


def test_every_part_is_led_to_with_its_count(web: Client, world: World):
    page = front(web, world, by="part", what="pressure-test").content.decode()
    assert re.search(r'href="#part-bore">Stack bore</a> <span class="num">5<', page)


def test_tests_in_progress_are_led_to(web: Client, world: World):
    draft = a_draft(world)
    a_step(draft, world, "Upper pipe ram")
    page = front(web, world).content.decode()
    assert "Tests in progress" in page
    assert reverse("tests_app:record", args=[draft.pk]) in page
    assert "Test in progress" in page


@pytest.mark.parametrize(
    ("query", "there", "not_there"),
    [
        ({"state": "in-date", "what": "pressure-test"}, "Upper pipe ram", "Lower pipe ram"),
        ({"part": "kill-side"}, "Inner kill valve", "Upper pipe ram"),
        ({"text": "choke"}, "Inner choke valve", "Upper pipe ram"),
        ({"when": "now", "what": "pressure-test"}, "Lower pipe ram", "Upper pipe ram"),
        ({"when": "next-30", "what": "pressure-test"}, "Upper pipe ram", "Lower pipe ram"),
        ({"since": "2026-03-16", "before": "2026-03-16"}, "Upper pipe ram", "Lower pipe ram"),
        ({"before": "not a day", "what": "pressure-test"}, "Enter a valid date", "nothing like this"),
        ({"state": "nonsense"}, "Upper pipe ram", "nothing like this"),
    ],
)
def test_the_list_is_narrowed_by_the_address(
    web: Client, world: World, query: dict[str, str], there: str, not_there: str
):
    a_sealed_record(world)
    page = said(front(web, world, **query))
    assert there in page
    assert not_there not in page


def test_the_list_is_sorted_by_the_address(web: Client, world: World):
    up, down = (said(front(web, world, by="nothing", sort=key)) for key in ("element", "-element"))
    assert up.index("Annular") < up.index("Upper pipe ram")
    assert down.index("Upper pipe ram") < down.index("Annular Pressure test")


def test_the_list_is_taken_along_as_csv(web: Client, world: World):
    a_sealed_record(world)
    answer = front(web, world, export="csv", text="Upper pipe", what="pressure-test")
    rows = answer.content.decode().splitlines()
    assert answer["Content-Disposition"].startswith("attachment")
    assert len(rows) == 2
    assert "2026-03-17T00:00-05:00" in rows[1]


def test_the_list_is_taken_along_as_a_workbook(web: Client, world: World):
    assert front(web, world, export="xlsx").content.startswith(b"PK")


@pytest.mark.parametrize(("paper", "points"), [("A4", (842, 595)), ("letter", (792, 612)), ("", (792, 612))])
def test_the_list_goes_on_paper_with_its_heads_and_pages_numbered(
    web: Client, world: World, paper: str, points: tuple[int, int]
):
    a_sealed_record(world)
    answer = front(web, world, export="pdf", paper=paper, what="pressure-test")
    pages = pypdf.PdfReader(io.BytesIO(answer.content)).pages
    text = [re.sub(r"\s+", " ", page.extract_text()) for page in pages]
    assert (round(pages[0].mediabox.width), round(pages[0].mediabox.height)) == points
    assert all(f"page {number} of {len(pages)}" in page for number, page in enumerate(text, start=1))
    assert all("Begin the next before" in page for page in text if "Pressure test" in page)
    assert "midnight at the end of 16 Mar 2026" in " ".join(text)
    assert "Narrowed." in text[0]
    assert "Decision support only" in text[-1]


def test_a_component_that_cannot_be_worked_out_is_shown_and_hides_no_other(web: Client, world: World):
    world.section.masp_margin_approval = "P-1"
    world.section.begins_at = STARTED - timedelta(days=1)
    world.section.save()
    component = world.at("Lower pipe ram").installations.get().component
    component.rated_working_pressure = None
    component.save()
    reconcile(world.rig, at=STARTED)
    page = said(front(web, world))
    assert "Cannot be worked out Lower pipe ram" in page
    assert "Upper pipe ram" in page


def test_a_deferral_and_a_test_that_must_wait_are_told_on_the_row(web: Client, world: World):
    a_sealed_record(world)
    a_deferral(world, key_of(world, "pressure-test", "Upper pipe ram"), at=SIGNED, until=SIGNED + timedelta(days=16))
    a_postponement(world, key_of(world, "function-test", "Lower pipe ram"), at=SIGNED)
    deferred, waiting = (said(front(web, world, waiting=one)) for one in ("deferred", "postponed"))
    assert "by Karin Voss, drilling superintendent (DSP-014); was due midnight at the end of 16 Mar 2026" in deferred
    assert "(stuck pipe): to be made" in waiting
    assert "the date it was due on stays" in waiting
    assert "Upper pipe ram Pressure test" not in said(front(web, world, waiting="no"))


def test_only_what_a_person_may_do_is_offered(web: Client, world: World):
    auditor = Client()
    auditor.force_login(builders.a_person(rig=world.rig, role="auditor"))
    supervisors, auditors = front(web, world).content.decode(), front(auditor, world).content.decode()
    key = key_of(world, "pressure-test", "Upper pipe ram")
    for name in ("pressure-test-new", "deferral-new", "postponement-new"):
        assert f"{reverse(f'tests_app:{name}', args=[world.rig.pk])}?key={key}" in supervisors
    assert "Record it" not in auditors
    assert "Why is this due?" in auditors


def test_a_page_holds_a_whole_rig_and_a_longer_list_is_paged(
    web: Client, world: World, monkeypatch: pytest.MonkeyPatch
):
    assert 'rel="next"' not in front(web, world).content.decode()
    monkeypatch.setattr("tests_app.web.front.PAGE_ROWS", 5)
    first = front(web, world, by="part").content.decode()
    assert 'rel="next"' in first
    assert re.search(r'href="\?by=part&amp;page=\d+#part-control"', first)


def test_more_components_take_no_more_queries(
    web: Client, world: World, django_assert_max_num_queries: DjangoAssertNumQueries
):
    a_sealed_record(world)
    front(web, world)
    with django_assert_max_num_queries(40) as few:
        front(web, world)
    builders.a_filled_stack(world.rig, StackKind.SUBSEA)
    with django_assert_max_num_queries(len(few)):
        front(web, world)


def test_a_person_with_one_rig_goes_straight_to_it(web: Client, world: World):
    assert web.get("/")["Location"] == reverse("tests_app:rig", args=[world.rig.pk])


def test_a_person_with_several_rigs_sees_how_each_stands(web: Client, world: World):
    other = builders.a_rig("Rig Second")
    builders.a_crew_member(other, world.supervisor)
    page = said(web.get("/"))
    assert "Of 2 rigs: " in page
    assert "Rig Second" in page


def test_a_person_without_a_rig_is_told_whom_to_ask(db: None):
    client = Client()
    client.force_login(builders.a_person())
    assert "Whoever administers the rig" in said(client.get("/"))


def test_the_tests_of_a_rig_are_listed_and_narrowed(web: Client, world: World):
    a_sealed_record(world)
    draft = a_draft(world)
    address = reverse("tests_app:records", args=[world.rig.pk])
    both, drafts = said(web.get(address)), said(web.get(address, {"state": "draft"}))
    assert "Test 1" in both
    assert "Test 1 " not in drafts
    assert f"Test {draft.number}" in drafts
    assert "Signed, passed" in web.get(address, {"export": "csv"}).content.decode()


def test_more_tests_take_no_more_queries(
    web: Client, world: World, django_assert_max_num_queries: DjangoAssertNumQueries
):
    address = reverse("tests_app:records", args=[world.rig.pk])
    for _ in range(2):
        a_draft(world)
    with django_assert_max_num_queries(20) as few:
        web.get(address)
    for _ in range(10):
        a_draft(world)
    with django_assert_max_num_queries(len(few)):
        web.get(address)


def test_the_list_says_which_control_items_are_not_on_file_and_leads_to_their_form(web: Client, world: World):
    page = front(web, world)
    assert "Not on file, so not in this list." in said(page)
    assert "Remote panel, " in said(page)
    address = f"{reverse('equipment:control-new', args=[world.stack.pk])}?kind=remote-panel"
    assert address in page.content.decode()
    assert '<option value="remote-panel" selected>' in web.get(address).content.decode()
    paper = front(web, world, export="pdf", paper="a4").content
    assert "Not on file, so in no row" in pypdf.PdfReader(io.BytesIO(paper)).pages[0].extract_text()
