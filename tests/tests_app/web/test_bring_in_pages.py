"""Pages for bringing in rows: given, seen row by row, confirmed; tests of elsewhere confirmed by their paper."""

import csv
import io
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from equipment.models import CrewRole
from tests import builders
from tests.builders_tests_app import SIGNED, World
from tests_app.actions import bringing_in, brought_tests
from tests_app.documents.sheet_files import MOST_BYTES
from tests_app.models import BroughtFile, BroughtTest, FileState
from tests_app.queries.due_list import due_list
from tests_app.tasks import bring_in_file, try_out_file

HEADS = "Kind,Serial number\n"


def given(web: Client, world: World, content: str, sheet: str = "components") -> HttpResponse:
    file = SimpleUploadedFile("rows.csv", content.encode())
    return web.post(reverse("tests_app:bring-in", args=[world.rig.pk]), {"sheet": sheet, "file": file})


def page(client: Client, name: str, *args: object, **query: str) -> HttpResponse:
    return client.get(reverse(f"tests_app:{name}", args=args), query)


def signed_in(world: World, role: str) -> Client:
    client = Client()
    client.force_login(builders.a_person(rig=world.rig, role=role))
    return client


def test_a_file_is_given_read_row_by_row_and_confirmed(web: Client, world: World):
    answer = given(web, world, HEADS + "Pipe ram,=NEW-1\nPipe ram,NEW-2\n")
    file = BroughtFile.objects.get()
    assert answer.url == reverse("tests_app:brought-file", args=[file.pk])
    shown = web.get(answer.url).content.decode()
    assert "2 rows would be added" in shown
    assert "Bring in all 2" in shown
    assert not world.rig.components.filter(serial="NEW-2").exists()
    done = web.post(reverse("tests_app:brought-file-confirm", args=[file.pk]), follow=True).content.decode()
    assert "2 rows added" in done
    assert world.rig.components.filter(serial__contains="NEW-").count() == 2


def test_a_refused_row_stands_with_its_column_reason_and_remedy_and_offers_no_confirmation(web: Client, world: World):
    answer = given(web, world, HEADS + "Pipe ram,NEW-1\nRocket,NEW-2\n")
    shown = web.get(answer.url).content.decode()
    assert "1 row of 2 would be refused" in shown
    assert "none of the words known" in shown
    assert "Bring in all" not in shown
    told = web.get(answer.url, {"result": "refused", "export": "csv"}).content.decode("utf-8-sig")
    ((_, row),) = [(one["What happens"], one["In the file"]) for one in csv.DictReader(io.StringIO(told))]
    assert row == "3"
    refused = web.post(reverse("tests_app:brought-file-confirm", args=[BroughtFile.objects.get().pk]), follow=True)
    assert "all or nothing" in refused.content.decode()
    assert not world.rig.components.filter(serial="NEW-1").exists()


@pytest.mark.parametrize(
    ("content", "sheet", "why"),
    [
        ("Kind,Colour\nannular,red\n", "components", "is not known"),
        ("", "components", "empty"),
        (HEADS + "annular,A\n", "rockets", "not one of the available"),
    ],
)
def test_what_cannot_be_taken_is_said_beside_the_field(web: Client, world: World, content: str, sheet: str, why: str):
    answer = given(web, world, content, sheet)
    assert answer.status_code == 422
    assert why in answer.content.decode()


def test_a_file_over_the_limit_is_refused_unread(web: Client, world: World):
    answer = given(web, world, "x" * (MOST_BYTES + 300_000))
    assert answer.status_code == 413
    assert "5 MB" in answer.content.decode()


def test_a_long_file_is_left_to_the_worker_and_its_page_waits(web: Client, world: World):
    count = bringing_in.AT_ONCE_ROWS + 1
    answer = given(web, world, HEADS + "".join(f"Pipe ram,NEW-{one}\n" for one in range(count)))
    file = BroughtFile.objects.get()
    assert file.state == FileState.WAITING
    assert 'hx-trigger="load delay:2s"' in web.get(answer.url).content.decode()
    try_out_file(file.pk)
    done = page(web, "brought-file-state", file.pk)
    assert done["HX-Refresh"] == "true"
    web.post(reverse("tests_app:brought-file-confirm", args=[file.pk]))
    for _ in range(2):
        bring_in_file(file.pk)
    assert world.rig.components.filter(serial__startswith="NEW-").count() == count


def test_the_file_comes_back_as_it_was_given_and_can_be_set_aside(web: Client, world: World):
    content = HEADS + "Pipe ram,NEW-1\n"
    given(web, world, content)
    file = BroughtFile.objects.get()
    back = page(web, "brought-file-download", file.pk)
    assert (back.content.decode(), back["X-Content-Type-Options"]) == (content, "nosniff")
    assert back["Content-Disposition"].startswith("attachment")
    web.post(reverse("tests_app:brought-file-again", args=[file.pk]))
    shown = web.post(reverse("tests_app:brought-file-set-aside", args=[file.pk]), follow=True).content.decode()
    assert "Set aside" in shown
    assert BroughtFile.objects.get().state == FileState.SET_ASIDE


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_templates_and_what_is_on_file_can_be_taken_away(web: Client, world: World, kind: str):
    for sheet in ("components", "installations", "past-tests"):
        for query in ({}, {"empty": "1"}):
            assert page(web, "sheet", world.rig.pk, sheet, kind, **query)["Content-Disposition"].startswith(
                "attachment"
            )
    assert page(web, "sheet", world.rig.pk, "rockets", kind).status_code == 404


@pytest.mark.parametrize("role", [CrewRole.TESTER, CrewRole.AUDITOR, CrewRole.LESSEE])
def test_who_may_not_change_equipment_can_take_away_but_not_give(web: Client, world: World, role: str):
    given(web, world, HEADS + "Pipe ram,NEW-1\n")
    file = BroughtFile.objects.get()
    other = signed_in(world, role)
    assert "takes the role of" in page(other, "bring-in", world.rig.pk).content.decode()
    assert page(other, "sheet", world.rig.pk, "components", "csv").status_code == 200
    assert given(other, world, HEADS + "Pipe ram,NEW-2\n").status_code == 403
    for name in ("confirm", "again", "set-aside"):
        assert other.post(reverse(f"tests_app:brought-file-{name}", args=[file.pk])).status_code == 403


def test_nobody_of_another_rig_sees_any_of_it(web: Client, world: World):
    given(web, world, HEADS + "Pipe ram,NEW-1\n")
    file, test = BroughtFile.objects.get(), a_past_test(world)
    stranger = Client()
    stranger.force_login(builders.a_person(rig=builders.a_rig()))
    asked = [("bring-in", world.rig.pk), ("sheet", world.rig.pk, "components", "csv"), ("brought-tests", world.rig.pk)]
    asked += [("brought-file", file.pk), ("brought-file-state", file.pk), ("brought-file-download", file.pk)]
    for name, *args in [*asked, ("brought-test", test.pk)]:
        assert page(stranger, name, *args).status_code == 404, name
    for name in ("brought-file-confirm", "brought-file-again", "brought-file-set-aside"):
        assert stranger.post(reverse(f"tests_app:{name}", args=[file.pk])).status_code == 404
    for name in ("brought-test-confirm", "brought-test-withdraw"):
        assert stranger.post(reverse(f"tests_app:{name}", args=[test.pk])).status_code == 404


# Tests of elsewhere


def a_past_test(world: World, **facts: object) -> BroughtTest:
    """A passed pressure test of the upper pipe ram, over two days ago."""
    component = world.at("Upper pipe ram").installations.get().component
    over = SIGNED - timedelta(days=2)
    facts = {
        "what": "pressure-test", "pressure_from": "below", "started_at": over - timedelta(hours=1),
        "concluded_at": over, "passed": True, "high_pressure": "10050 psi",
        "tested_by": "R. Anders, Northfield", "certificate_number": "PT-0147",
        **facts,
    }  # fmt: skip
    return brought_tests.bring_in_test(component, by=world.supervisor, at=SIGNED, **facts)


def item_of(world: World, what: str):
    (found,) = [one for one in due_list(world.rig, at=SIGNED) if one.subject == "Upper pipe ram" and one.what == what]
    return found


@pytest.mark.parametrize(
    ("facts", "what"),
    [
        ({}, "pressure-test"),
        ({"what": "function-test", "pressure_from": "", "high_pressure": None}, "function-test"),
    ],
)
def test_dates_count_from_a_past_test_only_once_its_paper_was_seen_and_say_so(
    web: Client, world: World, facts: dict[str, object], what: str
):
    test = a_past_test(world, **facts)
    before = item_of(world, what)
    assert before.last_tested_at is None
    shown = page(web, "brought-test", test.pk).content.decode()
    assert "not signed here and not confirmed" in shown
    address = reverse("tests_app:brought-test-confirm", args=[test.pk])
    assert web.post(address, {"reference": " "}).status_code == 422
    done = web.post(address, {"reference": "PT-0147, binder 3, drilling office"}, follow=True).content.decode()
    assert "confirmed by its paper; not signed here" in done
    after = item_of(world, what)
    assert after.last_tested_at == test.concluded_at
    assert "brought in and is not signed here: PT-0147" in after.reason
    assert "binder 3" in after.reason
    web.post(reverse("tests_app:brought-test-withdraw", args=[test.pk]), {"reason": "Of another ram"})
    assert item_of(world, what).last_tested_at is None


def test_a_past_test_that_held_too_little_is_no_pass_for_today(world: World):
    test = a_past_test(world, high_pressure="3000 psi")
    brought_tests.confirm_test(test, reference="PT-0147", by=world.supervisor, at=SIGNED)
    assert "is needed now" in item_of(world, "pressure-test").reason


def test_a_past_test_before_the_component_was_put_in_proves_nothing_here(world: World):
    over = builders.LONG_AGO - timedelta(days=1)
    test = a_past_test(world, started_at=over - timedelta(hours=1), concluded_at=over)
    before = item_of(world, "pressure-test").due.due_at
    brought_tests.confirm_test(test, reference="PT-0147", by=world.supervisor, at=SIGNED)
    after = item_of(world, "pressure-test")
    assert after.due.due_at == before
    assert "after the last passing test" in after.reason


def test_a_failed_past_test_makes_the_next_due_at_once(world: World):
    test = a_past_test(world, passed=False)
    brought_tests.confirm_test(test, reference="PT-0147", by=world.supervisor, at=SIGNED)
    assert "did not pass" in item_of(world, "pressure-test").reason


def test_the_list_and_the_components_page_say_that_it_was_brought_in(web: Client, world: World):
    test = a_past_test(world)
    listed = page(web, "brought-tests", world.rig.pk, standing="waiting").content.decode()
    assert "PT-0147" in listed
    assert "Not confirmed" in listed
    assert "PT-0147" not in page(web, "brought-tests", world.rig.pk, standing="confirmed").content.decode()
    exported = page(web, "brought-tests", world.rig.pk, export="csv").content.decode()
    assert "Not confirmed" in exported
    shown = web.get(reverse("equipment:component", args=[test.component_id])).content.decode()
    assert "Tests brought in" in shown


def test_a_tester_confirms_and_withdraws_nothing(world: World):
    test = a_past_test(world)
    tester = signed_in(world, CrewRole.TESTER)
    for name in ("confirm", "withdraw"):
        answer = tester.post(
            reverse(f"tests_app:brought-test-{name}", args=[test.pk]), {"reference": "x", "reason": "x"}
        )
        assert answer.status_code == 403
