"""Work that renews: what is entered, what is refused, what it writes elsewhere, and how it is withdrawn."""

from datetime import date, timedelta

import pytest

from calcs.recurrence import State
from equipment import files
from equipment.actions import instruments
from equipment.errors import NotYours, Refused
from equipment.models import Document, Elastomer, ServiceEvent
from tests import builders
from tests.builders import DAY
from tests.builders_tests_app import SIGNED, World, a_sealed_record, a_world
from tests.builders_work import a_postponement, key_of, pressed, some_work
from tests_app.actions import work
from tests_app.actions.renewals import Calibration, NewDocument, NewElastomer
from tests_app.models import Completion
from tests_app.queries.completed import completions_of, work_on_components
from tests_app.queries.due_list import due_list
from tests_app.queries.owed import owed_on
from tests_app.queries.phases import phases_of
from tests_app.queries.requirements import edition_of
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def refused(act) -> Refused:
    with pytest.raises(Refused) as caught:
        act()
    return caught.value


def inspection(world: World) -> str:
    return f"inspection/stack-{world.stack.pk}"


def test_work_is_kept_with_its_rule_its_evidence_as_received_and_one_entry_in_the_trail(world):
    overhaul = key_of(world, "overhaul", "Annular")
    entry = some_work(world, overhaul, evidence=work.Received(r"C:\papers\report.pdf", b"as received"))
    assert (entry.clause, entry.rule_id) == ("30 CFR 250.739(b)", "ocs-insp-5y")
    assert (entry.evidence_name, files.fetch(entry.evidence_sha256)) == ("report.pdf", b"as received")
    told = TrailEntry.objects.get(event="work.recorded")
    assert (told.subject_id, told.rig_number, told.after["done_by"]) == (entry.pk, world.rig.pk, entry.done_by)
    assert completions_of(world.rig) == {overhaul: [entry]}


def test_what_is_not_on_the_rig_is_nobodys_to_enter(world):
    elsewhere = a_world()
    for key in (inspection(elsewhere), "inspection/stack-0", "inspection/nothing-1", "dance/rig-1", ""):
        with pytest.raises(NotYours):
            owed_on(world.rig, key)


def test_tests_with_a_record_of_their_own_are_not_entered_as_work(world):
    ram = key_of(world, "pressure-test", "Upper pipe ram")
    assert "Record it as a test of its own" in str(refused(lambda: some_work(world, ram)))


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"started_at": DAY - HOUR, "concluded_at": DAY + HOUR}, "concluded_at"),
        ({"started_at": DAY + HOUR, "concluded_at": DAY + 2 * HOUR}, "started_at"),
        ({"started_at": DAY - HOUR, "concluded_at": DAY - 2 * HOUR}, "concluded_at"),
        ({"done_by": "  "}, "done_by"),
        ({"passed": False}, "findings"),
        ({"evidence": work.Received("empty.pdf", b"")}, "file"),
        ({"pressed": pressed("200 psi", "200 psi", "5")}, "pressure_reached"),
        ({"renewal": Calibration(date(2027, 1, 1))}, "renewal"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field_and_nothing_is_kept(world, facts, field):
    assert refused(lambda: some_work(world, inspection(world), **facts)).field == field
    assert not Completion.objects.exists()


def test_work_before_the_thing_was_there_is_refused(world):
    position = builders.a_position(world.stack, "diverter", name="Diverter", group="riser")
    builders.an_installation(position, installed_at=DAY - timedelta(days=2))
    world.positions.clear()
    key = key_of(world, "pressure-test", "Diverter")
    early = refused(
        lambda: some_work(world, key, concluded_at=DAY - timedelta(days=3), pressed=pressed("210 psi", "210 psi", "10"))
    )
    assert early.field == "concluded_at"
    assert "28 Feb 2026" in early.reason


def test_an_overhaul_cannot_pass_without_the_papers_its_rule_asks_for(world):
    overhaul = key_of(world, "overhaul", "Annular")
    missing = refused(lambda: some_work(world, overhaul, evidence=None))
    assert missing.field == "evidence"
    assert "a written report and a statement of an independent third party (30 CFR 250.739(b))" in missing.reason
    failed = some_work(world, overhaul, evidence=None, passed=False, findings="Crack in the head.")
    assert not failed.passed, "what did not pass renews nothing, and is kept"


def test_the_same_work_is_not_entered_twice(world):
    some_work(world, inspection(world))
    again = refused(lambda: some_work(world, inspection(world), evidence=None))
    assert again.field == "concluded_at"
    assert "entered already, by Ida Storm" in again.reason


def test_a_file_that_is_evidence_of_something_else_is_asked_about(world):
    one, other = key_of(world, "overhaul", "Annular"), key_of(world, "overhaul", "Upper pipe ram")
    both = work.Received("both.pdf", b"one report for two")
    some_work(world, one, evidence=both)
    asked = refused(lambda: some_work(world, other, evidence=both))
    assert asked.field == "same_file_meant"
    assert "Annular" in asked.reason
    assert some_work(world, other, evidence=both, same_file_meant=True).evidence_name == "both.pdf"


def test_an_overhaul_ends_the_proofs_before_it_and_counts_for_the_component_wherever_it_stands(world):
    a_sealed_record(world)
    overhaul = key_of(world, "overhaul", "Upper pipe ram")
    entry = some_work(world, overhaul, at=SIGNED + 4 * HOUR)
    ram = next(item for item in due_list(world.rig, at=SIGNED + 5 * HOUR) if item.component == entry.component)
    assert ram.state == State.DUE_NOW
    entry.component.refresh_from_db()
    assert entry.component.last_major_inspection_on == date(2026, 3, 2)
    assert list(work_on_components(world.rig)) == [("overhaul", entry.component_id)]


def test_a_calibration_gives_the_instrument_its_new_dates_and_its_certificate(world):
    key = f"calibration/instrument-{world.recorder.pk}"
    old = builders.a_document(world.recorder, kind="calibration", title="Calibration", expires_on=date(2027, 1, 15))
    entry = some_work(world, key, renewal=Calibration(date(2027, 3, 2), "CAL-0002"))
    world.recorder.refresh_from_db()
    assert (world.recorder.calibrated_on, world.recorder.calibration_due_on) == (date(2026, 3, 2), date(2027, 3, 2))
    assert world.recorder.certificate_number == "CAL-0002"
    assert (entry.new_document.follows, entry.new_document.expires_on) == (old, date(2027, 3, 2))

    work.withdraw_work(entry, reason="Another gauge's certificate.", by=world.supervisor, at=DAY)
    world.recorder.refresh_from_db()
    assert (world.recorder.calibrated_on, world.recorder.certificate_number) == (date(2026, 1, 15), "CAL-0001")
    assert not old.followed_by.filter(withdrawn_at__isnull=True).exists()
    assert completions_of(world.rig) == {}


def test_a_withdrawn_calibration_leaves_dates_that_were_given_since(world):
    key = f"calibration/instrument-{world.recorder.pk}"
    entry = some_work(world, key, renewal=Calibration(date(2027, 3, 2), "CAL-0002"))
    instruments.amend_instrument(world.recorder, certificate_number="CAL-0003", by=world.supervisor, at=DAY)
    work.withdraw_work(entry, reason="Entered twice.", by=world.supervisor, at=DAY)
    world.recorder.refresh_from_db()
    assert world.recorder.certificate_number == "CAL-0003"
    assert world.recorder.calibrated_on == date(2026, 3, 2)


def test_an_earlier_calibration_is_kept_and_leaves_the_later_dates(world):
    key = f"calibration/instrument-{world.recorder.pk}"
    some_work(world, key, concluded_at=DAY - timedelta(days=90), renewal=Calibration(date(2026, 12, 1), "CAL-0000"))
    world.recorder.refresh_from_db()
    assert (world.recorder.calibrated_on, world.recorder.certificate_number) == (date(2026, 1, 15), "CAL-0001")


def test_a_failed_calibration_gives_no_dates(world):
    key = f"calibration/instrument-{world.recorder.pk}"
    entry = some_work(world, key, passed=False, findings="2 % low over the range.")
    world.recorder.refresh_from_db()
    assert (entry.new_document, world.recorder.calibrated_on) == (None, date(2026, 1, 15))


def test_a_renewed_document_follows_the_old_one_once(world):
    old = builders.a_document(world.recorder, expires_on=date(2026, 4, 1))
    new = NewDocument("Certificate of conformity", "C-2", date(2026, 3, 1), date(2031, 3, 1))
    entry = some_work(world, f"document/document-{old.pk}", renewal=new)
    assert (entry.new_document.follows, entry.new_document.kind) == (old, old.kind)
    twice = refused(lambda: some_work(world, entry.obligation_key, renewal=new, concluded_at=DAY - 2 * HOUR))
    assert "Another document renews this one already" in twice.reason

    work.withdraw_work(entry, reason="Another rig's paper.", by=world.supervisor, at=DAY)
    assert Document.objects.count() == 1
    assert Document.everything.count() == 2
    assert some_work(world, entry.obligation_key, renewal=new).new_document.follows == old


def test_a_document_is_not_renewed_without_the_document(world):
    old = builders.a_document(world.recorder)
    assert refused(lambda: some_work(world, f"document/document-{old.pk}", renewal=None)).field == "renewal"
    bare = refused(lambda: some_work(world, f"document/document-{old.pk}", renewal=NewDocument("Paper"), evidence=None))
    assert bare.field == "evidence"


def test_an_elastomer_change_fits_the_new_one_and_ends_the_proofs_before_it(world):
    a_sealed_record(world)
    ram = world.at("Upper pipe ram").installations.get().component
    old = builders.an_elastomer(ram)
    later = SIGNED + 4 * HOUR
    entry = some_work(world, f"elastomer/elastomer-{old.pk}", at=later, renewal=NewElastomer("HNBR", "B-77"))
    old.refresh_from_db()
    assert (old.removed_on, entry.new_elastomer.batch) == (date(2026, 3, 2), "B-77")
    assert state(world, ram, later) == State.DUE_NOW
    again = refused(lambda: some_work(world, entry.obligation_key, at=later, renewal=NewElastomer()))
    assert "taken out already" in again.reason

    work.withdraw_work(entry, reason="It was the lower ram.", by=world.supervisor, at=later)
    old.refresh_from_db()
    assert old.removed_on is None
    assert not Elastomer.objects.filter(pk=entry.new_elastomer_id).exists()
    assert not ServiceEvent.objects.filter(component=ram).exists()
    assert state(world, ram, later) == State.IN_DATE, "its test counts again"


def test_an_elastomer_change_cannot_be_withdrawn_once_the_new_one_was_changed_again(world):
    old = builders.an_elastomer(world.at("Annular").installations.get().component)
    first = some_work(world, f"elastomer/elastomer-{old.pk}", renewal=NewElastomer())
    some_work(world, f"elastomer/elastomer-{first.new_elastomer_id}", renewal=NewElastomer())
    stuck = refused(lambda: work.withdraw_work(first, reason="Wrong ram.", by=world.supervisor, at=DAY))
    assert "Withdraw that later entry first" in stuck.remedy


def test_withdrawing_asks_for_a_reason_and_happens_once(world):
    entry = some_work(world, inspection(world))
    assert refused(lambda: work.withdraw_work(entry, reason=" ", by=world.supervisor, at=DAY)).field == "reason"
    work.withdraw_work(entry, reason="It was the other stack.", by=world.supervisor, at=DAY)
    assert "withdrawn already" in str(
        refused(lambda: work.withdraw_work(entry, reason="Again.", by=world.supervisor, at=DAY))
    )
    told = TrailEntry.objects.get(event="work.withdrawn")
    assert (told.reason, told.after["withdrawn_by"]) == ("It was the other stack.", "Ida Storm")


def test_what_was_known_at_a_moment_holds_entries_withdrawn_since_and_none_entered_since(world):
    first = some_work(world, inspection(world))
    work.withdraw_work(first, reason="Wrong stack.", by=world.supervisor, at=DAY + HOUR)
    second = some_work(world, inspection(world), at=DAY + 2 * HOUR)
    assert completions_of(world.rig, known_at=DAY) == {inspection(world): [first]}
    assert completions_of(world.rig, known_at=DAY + HOUR) == {}
    assert completions_of(world.rig) == {inspection(world): [second]}


def test_passed_work_ends_what_was_postponed_until_then(world):
    casing = f"casing-test/holesection-{world.section.pk}"
    waiting = a_postponement(world, casing, at=DAY - 2 * HOUR)
    some_work(world, casing, pressed=pressed("5700 psi", "5650 psi", "30"))
    waiting.refresh_from_db()
    assert (waiting.ended_reason, waiting.ended_at) == ("Done.", DAY - HOUR)


@pytest.mark.parametrize(
    ("held", "field"),
    [
        (("5500 psi", "5500 psi", "30"), "pressure_reached"),
        (("5700 psi", "5700 psi", "29"), "held_minutes"),
        (("5700 psi", "5000 psi", "30"), "pressure_left"),
    ],
)
def test_a_casing_test_does_not_pass_against_its_figures(world, held, field):
    """30 CFR 250.721: 70 % of the burst rating (8,000 psi here), 30 minutes, falling by at most a tenth."""
    casing = f"casing-test/holesection-{world.section.pk}"
    short = refused(lambda: some_work(world, casing, pressed=pressed(*held)))
    assert short.field == field
    assert "30 CFR 250.721" in short.reason
    failed = some_work(world, casing, pressed=pressed(*held), passed=False, findings="Leaks at the shoe.")
    assert failed.pressure_reached.text == held[0].split()[0]


def test_each_component_has_its_own_five_years_and_says_what_they_count_from(world):
    annular = world.at("Annular").installations.get().component
    made = builders.a_component(world.rig, "annular", serial="SPARE", manufactured_on=date(2022, 5, 10))
    some_work(world, key_of(world, "overhaul", "Annular"), concluded_at=DAY - timedelta(days=300))
    phases = {phase.component: phase for phase in phases_of(world.rig, edition_of(world.rig), at=DAY)}

    assert (phases[annular].start.words, phases[annular].start.is_done) == ("Overhauled", True)
    assert phases[made].start.words == "Never overhauled; made"
    assert phases[made].due_at.isoformat() == "2027-05-11T00:00:00-05:00", "the end of 10 May, five years on"
    ram = phases[world.at("Upper pipe ram").installations.get().component]
    assert "day of manufacture not on file; first installed" in ram.start.words
    assert phases[made].key == f"overhaul/component-{made.pk}"


def test_an_overhaul_that_did_not_pass_ends_proofs_but_gives_no_new_years(world):
    overhaul = key_of(world, "overhaul", "Annular")
    entry = some_work(world, overhaul, passed=False, findings="Crack in the head.")
    assert entry.service_event.kind == "repair"
    phase = next(one for one in phases_of(world.rig, edition_of(world.rig), at=DAY) if one.key == overhaul)
    assert not phase.start.is_done


def state(world: World, component, at) -> str:
    return next(item.state for item in due_list(world.rig, at=at) if item.component == component)
