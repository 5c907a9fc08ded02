"""Whose pages these are: another rig's do not exist, an auditor changes nothing, an ended session loses nothing."""

from collections.abc import Iterator

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from equipment import files
from tests import builders
from tests.builders_defects import a_defect_by_hand
from tests.builders_drawdowns import a_bank_beside, a_drawdown_draft, a_pump, a_pump_draft, a_recharge, filled
from tests.builders_functions import a_function_draft, with_controls
from tests.builders_line_ups import a_plan
from tests.builders_pressure_systems import a_pressure_system
from tests.builders_tests_app import SIGNED, World, a_draft, a_recording, a_sealed_record, a_step, good
from tests.builders_work import a_deferral, a_postponement, key_of, some_work
from tests_app.actions.certificates import issue_certificate
from tests_app.models import BroughtFile, BroughtTest, Message, Notice, OrderedPaper, PaperStep, Record, SheetKind
from tests_app.web.urls import urlpatterns

READ = {
    "rig",
    "rig-rules",
    "calendar",
    "plan",
    "compliance",
    "compliance-papers",
    "compliance-papers-part",
    "compliance-paper",
    "stack-coverage",
    "bring-in",
    "sheet",
    "brought-tests",
    "brought-file",
    "brought-file-state",
    "brought-file-download",
    "brought-test",
    "line-ups",
    "line-up",
    "line-up-state",
    "line-up-drawing",
    "line-up-try",
    "line-up-sheet",
    "as-of",
    "why",
    "own-rules",
    "records",
    "record",
    "certificate",
    "certificate-part",
    "certificate-pdf",
    "content-plot",
    "step-plot",
    "recording-plot",
    "recording-file",
    "drawdown-plot",
    "alert",
    "rig-alerts",
    "alert-settings",
    "messages",
    "message",
    "work",
    "work-entry",
    "work-evidence",
    "overhaul-phases",
    "defects",
    "defect",
    "failure-rates",
    "deferrals",
    "deferral",
    "postponement",
}
OF_A_DRAWDOWN = ("function", "drawdown-", "recharge", "pump")
OF_A_FUNCTION_TEST = ("function-line", "function-statements")
FOR_ANYBODY_SIGNED_IN = {"home", "rules", "calculations", "calculation", "calculation-plot"} | {
    "bank-worksheet",
    "bank-worksheet-plot",
    "alerts",
    "alerts-seen",
    "calendar-feeds",
    "calendar-feed-revoke",
}
PUBLIC = {"verify", "feed"}


def an_alert(world: World) -> Notice:
    """An alert of the rig that was told to nobody yet."""
    facts = {"what": "drill", "stage": "overdue", "occasion": "once", "hours_past": 0, "subject": "Drill"}
    return Notice.objects.create(rig=world.rig, obligation_key="drill/rig", created_at=SIGNED, **facts)


def a_message(world: World) -> Message:
    """A mail of the rig that waits."""
    facts = {"channel": "mail", "purpose": "trial", "created_at": SIGNED, "next_try_at": SIGNED}
    return Message.objects.create(rig=world.rig, person=world.supervisor, **facts)


@pytest.fixture
def keys(world: World) -> dict[str, list[int]]:
    """What stands in the addresses: drafts of each kind, and a sealed record with its certificate."""
    sealed = a_sealed_record(world)
    issue_certificate(sealed, by=world.supervisor, at=SIGNED)
    draft = a_draft(world)
    step = a_step(draft, world, "Lower pipe ram")
    recording = a_recording(draft, world, good(), step=step)
    bank = a_bank_beside(world)
    drawdown = filled(a_drawdown_draft(bank), bank)
    pump_test = a_pump_draft(bank)
    with_controls(world)
    function_test = a_function_draft(world)
    a_pressure_system(world.stack)
    plan = a_plan(world, "Annular", at=SIGNED)
    brought = a_brought_test(world)
    return {
        "rigs": [world.rig.pk],
        "stacks": [world.stack.pk],
        "line-ups": [plan.pk],
        "line-up-steps": [plan.steps.get().pk],
        "records": [draft.pk],
        "certificate": [sealed.pk],
        "steps": [step.pk],
        "lines": [step.lines.get().pk],
        "recordings": [recording.pk],
        "drawdown": [drawdown.pk],
        "functions": [drawdown.drawdown_functions.first().pk],
        "recharges": [a_recharge(drawdown, bank).pk],
        "pumps": [a_pump(pump_test, bank).pk],
        "function test": [function_test.pk],
        "worked": [function_test.function_lines.first().pk],
        "alerts": [an_alert(world).pk],
        "messages": [a_message(world).pk],
        "work": [some_work(world, f"inspection/stack-{world.stack.pk}").pk],
        "compliance-papers": [a_paper(world).pk],
        "defects": [a_defect_by_hand(world, world.at("Annular").installations.get().component).pk],
        "past-tests": [brought.pk],
        "brought-files": [brought.brought_in_with_id],
        "deferrals": [a_deferral(world, key_of(world, "pressure-test", "Annular")).pk],
        "postponements": [a_postponement(world, key_of(world, "pressure-test", "Annular")).pk],
    }


def a_paper(world: World) -> OrderedPaper:
    """A paper somebody ordered, made."""
    made = {"step": PaperStep.MADE, "made_at": SIGNED, "sha256": files.keep(b"%PDF-1.7 invented"), "size": 17}
    asked = {"month": "2026-03", "paper": "a4", "ordered_at": SIGNED, "ordered_by": "Ida Storm"}
    return OrderedPaper.objects.create(rig=world.rig, **asked, **made)


def a_brought_test(world: World) -> BroughtTest:
    """A test of elsewhere, with the file it came in with, neither confirmed nor withdrawn."""
    who = {"received_at": SIGNED, "received_by": "Ida Storm"}
    content = b"Test\n"
    file = BroughtFile.objects.create(
        rig=world.rig,
        sheet=SheetKind.TESTS,
        name="tests.csv",
        sha256=files.keep(content),
        size=len(content),
        row_count=1,
        **who,
    )
    return BroughtTest.objects.create(
        rig=world.rig,
        component=world.at("Annular").installations.get().component,
        what="pressure-test",
        started_at=SIGNED,
        concluded_at=SIGNED,
        passed=True,
        tested_by="Rolf Anders, Northfield Well Services",
        certificate_number="PT-0147",
        brought_in_with=file,
        entered_at=SIGNED,
        entered_by="Ida Storm",
    )


def addresses(keys: dict[str, list[int]]) -> Iterator[tuple[str, str]]:
    """Every address of the test pages that belongs to a rig, by its name."""
    for pattern in urlpatterns:
        name = pattern.name
        if name in FOR_ANYBODY_SIGNED_IN | PUBLIC:
            continue
        sealed = name.startswith("certificate") or name == "content-plot"
        key = "certificate" if sealed else str(pattern.pattern).partition("/")[0]
        if key == "records" and name.startswith(OF_A_DRAWDOWN):
            key = "function test" if name.startswith(OF_A_FUNCTION_TEST) else "drawdown"
        more = {"content-plot": [1], "why": ["inspection/stack-1"], "sheet": ["components", "csv"]}.get(name, [])
        yield name, reverse(f"tests_app:{name}", args=[*keys[key], *more])


def answered(client: Client, address: str) -> int:
    """The status of the address, by GET or, where it only takes forms, by POST."""
    status = client.get(address).status_code
    return client.post(address).status_code if status in (302, 405) else status


def test_every_page_of_another_rig_does_not_exist(keys: dict[str, list[int]]):
    client = Client()
    client.force_login(builders.a_person(rig=builders.a_rig()))
    found = {name: answered(client, address) for name, address in addresses(keys)}
    assert set(found.values()) == {404}, found


def test_every_page_asks_for_the_sign_in(keys: dict[str, list[int]]):
    client = Client()
    for name, address in addresses(keys):
        answer = client.get(address)
        assert answer.status_code in (302, 405), name
        if answer.status_code == 302:
            assert answer["Location"].startswith(reverse("sign-in")), name


def test_an_auditor_reads_everything_and_changes_nothing(world: World, keys: dict[str, list[int]]):
    client = Client()
    client.force_login(builders.a_person(rig=world.rig, role="auditor"))
    found = {name: answered(client, address) for name, address in addresses(keys)}
    assert {name for name, status in found.items() if status == 200} == READ
    assert {status for name, status in found.items() if name not in READ} == {403}


def test_no_page_answers_what_does_not_exist_with_an_error_of_ours(web: Client, keys: dict[str, list[int]]):
    missing = {kind: [999_999] for kind in keys}
    assert {answered(web, address) for _, address in addresses(missing)} == {404}


@pytest.fixture
def signed_out() -> Client:
    return Client()


def test_a_form_sent_after_the_session_ended_is_handed_back_as_typed(world: World, signed_out: Client):
    address = reverse("tests_app:pressure-test-new", args=[world.rig.pk])
    typed = {"remarks": "Twenty words <b> nobody wants to type twice", "instruments": ["1", "2"], "password": "secret"}
    answer = signed_out.post(address, typed)
    page = answer.content.decode()
    assert answer.status_code == 403
    assert "Twenty words &lt;b&gt; nobody wants to type twice" in page
    assert page.count('name="instruments"') == 2
    assert f'action="{address}"' in page
    assert "secret" not in page
    assert not Record.objects.exists()


def test_a_file_sent_after_the_session_ended_is_named_so_that_it_is_chosen_again(world: World, signed_out: Client):
    draft = a_draft(world)
    sent = {"attach-0-file": SimpleUploadedFile("pump.csv", b"t,p"), "attach-0-pressure_unit": "psi"}
    page = signed_out.post(reverse("tests_app:record-attach", args=[draft.pk]), sent).content.decode()
    assert "pump.csv has to be chosen again" in page


def test_a_part_asked_for_after_the_session_ended_brings_no_sign_in_into_the_page(world: World, signed_out: Client):
    draft = a_draft(world)
    address = reverse("tests_app:step-preview", args=[draft.pk])
    answer = signed_out.get(address, headers={"HX-Request": "true"})
    assert (answer.status_code, answer.content) == (403, b"")


@pytest.mark.parametrize("name", ["record-attach", "record-chart"])
def test_an_upload_of_200_megabytes_is_refused_unread(web: Client, world: World, name: str):
    draft = a_draft(world)

    class Unreadable:
        def read(self, *_: int) -> bytes:
            raise AssertionError("The body was read.")

        readline = read

    answer = web.generic(
        "POST",
        reverse(f"tests_app:{name}", args=[draft.pk]),
        content_type="multipart/form-data; boundary=x",
        CONTENT_LENGTH="200000000",
        **{"wsgi.input": Unreadable()},
    )
    assert answer.status_code == 413
    assert "larger than the 64 MB taken here" in answer.content.decode()
    assert reverse("tests_app:record", args=[draft.pk]) in answer.content.decode()


def test_an_upload_without_the_word_against_forgery_is_refused(world: World):
    client = Client(enforce_csrf_checks=True)
    client.force_login(world.supervisor)
    draft = a_draft(world)
    sent = {"attach-0-file": SimpleUploadedFile("pump.csv", b"t,p")}
    assert client.post(reverse("tests_app:record-attach", args=[draft.pk]), sent).status_code == 403
    assert not draft.recordings.exists()
