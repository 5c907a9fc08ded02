"""Editions tested by from end to end: without a low test, with a shorter low hold, to an approved pressure."""

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from equipment.actions import wells
from equipment.errors import Refused
from tests.builders_tests_app import (
    HIGH,
    LOW,
    SIGNED,
    STARTED,
    World,
    a_draft,
    a_recording,
    a_step,
    a_world,
    concluded,
    good,
    signed,
)
from tests.recordings_made import Curve
from tests_app.actions import readings
from tests_app.actions.own_programmes import change_figure
from tests_app.actions.readings import HoldReading
from tests_app.actions.superseding import supersede_record
from tests_app.documents.certificate import render
from tests_app.documents.sheet import sheet_of
from tests_app.documents.snapshot import content_of
from tests_app.models import Record

pytestmark = pytest.mark.django_db

HIGH_ALONE = Curve.through([(0, 0), (1, 5_040), (12, 5_030), (13, 0), (14, 0)])
"""43 CFR 3172 on a 10,000 psi annular: half its rating, for ten minutes, no low test."""
NORSOK = Curve.through([(0, 0), (0.5, 250), (5.6, 249), (7, 5_060), (18, 5_050), (19, 0)])
"""NORSOK D-010: 1.5 to 2.0 MPa (218 to 290 psi) for five minutes, then the approved pressure for ten."""


def world_by(rules: str, **section: str) -> World:
    return a_world(rig={"rules": rules}, section=section)


def sealed(record: Record, world: World) -> Record:
    signed(concluded(record, world), world)
    record.refresh_from_db()
    assert record.sealed_at is not None
    return record


def page_of(record: Record, world: World) -> str:
    client = Client()
    client.force_login(world.supervisor)
    return client.get(reverse("tests_app:record", args=[record.pk])).content.decode()


def test_a_rule_without_a_low_test_is_judged_on_its_high_hold_from_the_page_to_the_paper():
    world = world_by("us-blm")
    draft = a_draft(world)
    step = a_step(draft, world, "Annular")
    assert step.limits["low"] is None
    a_recording(draft, world, HIGH_ALONE, step=step)
    step.refresh_from_db()
    line = step.lines.get()
    assert (step.outcome, step.verdict["low"], line.required_low_min, line.hold_seconds) == ("passed", None, None, 600)
    assert any("No low test is asked by 43 CFR 3172.6" in said for said in line.working)
    assert "No low test asked. High at least <strong>" in page_of(draft, world)

    record = sealed(draft, world)
    assert record.passed
    content = content_of(record)
    (kept,) = content["steps"]
    assert (kept["limits"]["low_min"], kept["low"], kept["lines"][0]["required_low_max"]) == (None, None, None)
    assert "No low test asked. High at least" in page_of(record, world)
    sheet = sheet_of(content)
    assert (sheet.summary[0].low_required, sheet.summary[0].low_lowest) == ("none asked", "–")
    assert [row.name for row in sheet.held[0].holds] == ["High"]
    assert "No low test is asked of this step by its rules." in sheet.held[0].notes
    assert render(content, sha256=record.sha256, verify_address="https://rig.example/v").startswith(b"%PDF")


def test_a_high_hold_too_short_or_too_low_fails_where_no_low_test_is_asked():
    world = world_by("us-blm")
    draft = a_draft(world)
    short, under = (a_step(draft, world, "Annular", name=name) for name in ("Short", "Under"))
    a_recording(draft, world, Curve.through([(0, 0), (1, 5_040), (8, 5_040), (9, 0)]), step=short)
    a_recording(draft, world, Curve.through([(0, 0), (1, 4_990), (15, 4_990), (16, 0)]), step=under)
    for step in (short, under):
        step.refresh_from_db()
        assert step.outcome == "failed"
        assert step.verdict["high"]["reasons"]


def test_readings_are_typed_in_of_the_high_hold_alone_where_no_low_test_is_asked():
    world = world_by("us-blm")
    draft = a_draft(world)
    step = a_step(draft, world, "Annular")
    client = Client()
    client.force_login(world.supervisor)
    begun = STARTED.astimezone(world.rig.zone)
    sent = {
        "high_start_at": (begun + timedelta(minutes=1)).strftime("%Y-%m-%dT%H:%M:%S"),
        "high_end_at": (begun + timedelta(minutes=12)).strftime("%Y-%m-%dT%H:%M:%S"),
        "high_start_pressure_number": "5050",
        "high_start_pressure_unit": "psi",
        "high_end_pressure_number": "5020",
        "high_end_pressure_unit": "psi",
        "reason": "Recorder lost power",
    }
    named = {f"readings-{step.pk}-{name}": value for name, value in sent.items()}
    assert client.post(reverse("tests_app:step-readings", args=[step.pk]), named).status_code == 302
    step.refresh_from_db()
    assert (step.outcome, step.typed_readings.count()) == ("passed", 1)

    ocs = a_world()
    other = a_step(a_draft(ocs), ocs, "Upper pipe ram")
    with pytest.raises(Refused) as refused:
        readings.type_readings(other, low=None, high=HIGH, reason="Recorder lost power", by=ocs.supervisor, at=SIGNED)
    assert refused.value.field == "low.start_at"


def test_an_approved_pressure_and_holds_of_their_own_times_are_judged_as_the_rule_states_them():
    world = world_by(
        "no", approved_test_pressure="5000 psi", approved_test_pressure_reference="Well programme 12, rev. 2"
    )
    draft = a_draft(world)
    step = a_step(draft, world, "Upper pipe ram")
    line = step.lines.get()
    assert (line.required_high.si, line.hold_seconds, line.low_hold_seconds) == (
        pytest.approx(34_473_786, rel=1e-6),
        600,
        300,
    )
    assert any("Pressure approved under Well programme 12, rev. 2." in said for said in line.working)
    a_recording(draft, world, NORSOK, step=step)
    step.refresh_from_db()
    assert step.outcome == "passed"
    assert step.verdict["low"]["duration_s"] == pytest.approx(300)
    assert step.verdict["high"]["duration_s"] == pytest.approx(600)
    assert "then high at least" in page_of(draft, world)

    record = sealed(draft, world)
    content = content_of(record)
    assert content["section"]["approved_test_pressure"] == {"value": "5000", "unit": "psi"}
    assert content["steps"][0]["limits"]["low_hold_s"] == 300
    sheet = sheet_of(content)
    assert sheet.summary[0].hold == "5/10 min"
    assert [fact.more for fact in sheet.facts if fact.name == "Approved test pressure"] == ["Well programme 12, rev. 2"]


def test_the_whole_five_minutes_low_and_ten_high_are_asked():
    world = world_by("no", approved_test_pressure="5000 psi", approved_test_pressure_reference="Programme 12")
    draft = a_draft(world)
    step = a_step(draft, world, "Upper pipe ram")
    five_high = Curve.through([(0, 0), (0.5, 250), (5.6, 249), (7, 5_060), (13, 5_050), (14, 0)])
    a_recording(draft, world, five_high, step=step)
    step.refresh_from_db()
    assert (step.verdict["low"]["passes"], step.verdict["high"]["passes"]) == (True, False)


def test_without_the_approved_pressure_the_refusal_says_where_to_enter_it():
    world = world_by("us-blm")
    draft = a_draft(world)
    with pytest.raises(Refused) as refused:
        a_step(draft, world, "Upper pipe ram")
    assert refused.value.field == "lines"
    assert "needs an approved pressure" in refused.value.reason
    assert "with the hole section, or as an own value" in refused.value.remedy

    wells.amend_section(
        world.section,
        approved_test_pressure="3000 psi",
        approved_test_pressure_reference="Permit 44-1",
        by=world.supervisor,
        at=STARTED,
    )
    draft = Record.objects.get(pk=draft.pk)
    assert a_step(draft, world, "Upper pipe ram").lines.get().required_high.text == "3000"


def test_an_approved_pressure_replaces_nothing_where_the_rule_names_its_own():
    world = a_world(section={"approved_test_pressure": "3000 psi", "approved_test_pressure_reference": "Permit 44-1"})
    assert a_step(a_draft(world), world, "Upper pipe ram").lines.get().required_high.text == "10000"


def test_an_own_pressure_by_approval_stands_for_the_approved_one_and_is_told_on_the_paper():
    world = world_by("us-blm")
    change_figure(
        world.rig,
        rule="blm-pt-ram",
        figure="high-fixed",
        own="3000 psi",
        approval="Permit 44-1",
        reason="Approved for all sections",
        by=world.supervisor,
        at=STARTED - timedelta(days=1),
    )
    draft = a_draft(world)
    step = a_step(draft, world, "Upper pipe ram")
    a_recording(draft, world, Curve.through([(0, 0), (1, 3_040), (12, 3_030), (13, 0), (14, 0)]), step=step)
    record = sealed(draft, world)
    content = content_of(record)
    (own,) = content["edition"]["own"]
    assert (own["figure"], own["own"], own["source"]) == ("Test pressure", "3,000 psi", "the approved pressure")
    assert (own["comparison"], own["approval"]) == ("looser", "Permit 44-1")
    assert "own changes no. 1" in content["edition"]["title"]
    assert any("own programme: 3,000 psi" in rule["text"] for rule in content["rules"])
    assert "The rig's own values in these rules" in page_of(record, world)
    assert render(content, sha256=record.sha256, verify_address="https://rig.example/v").startswith(b"%PDF")


def test_the_upper_end_of_alberta_s_low_band_is_told_as_common_practice():
    world = world_by("ab-d36", approved_test_pressure="5000 psi", approved_test_pressure_reference="Class V licence")
    draft = a_draft(world, reason="before-drilling-out")
    line = a_step(draft, world, "Upper pipe ram").lines.get()
    assert (line.required_low_min.si, line.required_low_max.si) == (pytest.approx(1.4e6), pytest.approx(2.068e6))
    assert any("common practice" in rule["text"] for rule in line.rules)


def test_a_correction_keeps_the_readings_of_a_high_hold_alone():
    world = world_by("us-blm")
    draft = a_draft(world)
    step = a_step(draft, world, "Annular")
    high = HoldReading(
        start_at=LOW.start_at,
        end_at=LOW.start_at + timedelta(minutes=11),
        start_pressure="5050 psi",
        end_pressure="5020 psi",
    )
    readings.type_readings(step, low=None, high=high, reason="Recorder lost power", by=world.supervisor, at=SIGNED)
    record = sealed(draft, world)
    later = supersede_record(record, reason="Wrong plug named", by=world.supervisor, at=SIGNED + timedelta(hours=1))
    assert later.steps.get().outcome == "passed"


def test_a_usual_test_keeps_nothing_of_what_only_such_editions_ask():
    """Steps of rules with a low test and one time for both holds are kept and sealed as ever."""
    world = a_world()
    draft = a_draft(world)
    step = a_step(draft, world, "Upper pipe ram")
    a_recording(draft, world, good(), step=step)
    content = content_of(sealed(draft, world))
    assert set(step.limits) == {"low", "high", "hold", "hold_unrecorded"}
    assert content["edition"]["own"] == []
    assert content["steps"][0]["limits"]["low_hold_s"] is None
    assert content["steps"][0]["lines"][0]["low_hold_s"] is None
    assert content["section"]["approved_test_pressure"] is None
