"""Defects: opened from what failed, acted on, and closed by nothing but a retest of just that or an approval."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from equipment.errors import Refused
from equipment.models import ServiceEvent
from tests.builders_defects import (
    FOUND,
    LATER,
    a_defect,
    a_defect_by_hand,
    a_leaking_ram,
    a_passing_line,
    acted,
    disposed,
    of_record,
    proven,
    psi,
)
from tests.builders_functions import a_sealed_function_test, line_of, with_controls
from tests.builders_tests_app import (
    STARTED,
    World,
    a_judged_draft,
    a_recording,
    a_sealed_record,
    good,
    leaking,
    signed,
)
from tests_app.actions import defect_steps, defects, steps, superseding
from tests_app.actions.defects import ToShow
from tests_app.models import Defect, DefectClosing, Line
from tests_app.queries.defects import DefectState, standing_of, stopping_operations
from tests_app.queries.found_defects import failed_lines_of, not_taken_up
from tests_app.queries.retests import retests_of
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def refused(act) -> Refused:
    with pytest.raises(Refused) as caught:
        act()
    return caught.value


def state(defect: Defect) -> DefectState:
    return standing_of(defect).state


@pytest.fixture
def ram(world: World) -> Line:
    """The failed line of the upper pipe ram."""
    return a_leaking_ram(world)


def installed(world: World, position: str):
    return world.at(position).installations.get(removed_at__isnull=True).component


# Opening


def test_a_defect_keeps_what_failed_and_what_a_retest_has_to_show(world: World, ram: Line):
    defect = a_defect(world, ram)
    assert (defect.number, defect.component, defect.position) == (1, ram.component, ram.position)
    assert (defect.shown_by, defect.pressure_from, defect.low_asked) == ("pressure", ram.pressure_from, True)
    assert defect.pressure.si == ram.required_high.si
    assert (defect.closed_on, defect.pipe.text, defect.pipe.unit) == ("pipe", "5", "in")
    assert (defect.edition, defect.found_at) == ("us-ocs/2023", FOUND)
    assert state(defect) is DefectState.OPEN
    told = TrailEntry.objects.get(event="defect.opened")
    assert (told.subject_id, told.after["severity"]) == (defect.pk, "stops")


def test_defects_are_counted_on_the_rig(world: World, ram: Line):
    a_defect(world, ram)
    assert a_defect_by_hand(world, installed(world, "Annular")).number == 2


def test_a_line_that_passed_or_may_still_change_opens_no_defect(world: World):
    passed = Line.objects.get(step__record=a_sealed_record(world))
    assert "did not fail" in refused(lambda: a_defect(world, passed)).reason
    unsigned = Line.objects.get(step__record=a_judged_draft(world, curve=leaking(), at=LATER))
    assert "not signed" in refused(lambda: a_defect(world, unsigned, found_at=LATER, at=LATER + HOUR)).reason


def test_a_line_opens_one_defect_also_in_a_correction_of_its_test(world: World, ram: Line):
    a_defect(world, ram)
    assert "Defect 1 is open for this line" in refused(lambda: a_defect(world, ram)).reason
    corrected = superseding.supersede_record(ram.step.record, reason="Wrong pump.", by=world.supervisor, at=LATER)
    signed(corrected, world, at=LATER + HOUR)
    copied = Line.objects.get(step__record=corrected)
    assert "Defect 1" in refused(lambda: a_defect(world, copied)).reason
    assert "corrects this test" in refused(lambda: a_defect(world, ram)).reason
    assert not_taken_up(world.rig, since=STARTED - HOUR) == []


def test_after_one_entered_in_error_the_line_may_be_opened_again(world: World, ram: Line):
    disposed(world, a_defect(world, ram), disposition="in-error")
    assert a_defect(world, ram, at=LATER + HOUR).number == 2


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"found_at": STARTED - HOUR}, "found_at"),
        ({"found_at": FOUND + 9 * HOUR}, "found_at"),
        ({"found_by": " "}, "found_by"),
        ({"description": ""}, "description"),
        ({"barrier": "none"}, "barrier"),
    ],
)
def test_a_defect_that_makes_no_sense_is_refused_beside_its_field(world: World, ram: Line, facts, field):
    assert refused(lambda: a_defect(world, ram, **facts)).field == field
    assert not Defect.objects.exists()


def test_by_hand_it_is_placed_where_it_stood(world: World):
    annular = installed(world, "Annular")
    defect = a_defect_by_hand(world, annular)
    assert (defect.component, defect.position, defect.line) == (annular, world.at("Annular"), None)
    item = with_controls(world)["Drill floor station"]
    station = a_defect_by_hand(world, item, to_show=ToShow("function"), barrier="control")
    assert (station.control_item, station.component, station.pressure) == (item, None, None)


@pytest.mark.parametrize(
    ("position", "asked", "field"),
    [
        ("Closing unit", ToShow("pressure", "below", psi(3_000)), "shown_by"),
        ("Annular", ToShow("pressure", "", psi(3_000)), "pressure_from"),
        ("Annular", ToShow("pressure", "below"), "pressure"),
    ],
)
def test_by_hand_what_has_to_be_shown_is_whole(world: World, position: str, asked: ToShow, field: str):
    assert refused(lambda: a_defect_by_hand(world, installed(world, position), to_show=asked)).field == field


# Work on it


def test_a_repair_is_entered_on_the_component_too(world: World, ram: Line):
    defect = a_defect(world, ram)
    action = acted(world, defect, is_repair=True)
    event = ServiceEvent.objects.get(component=ram.component)
    assert (action.service_event, event.kind, event.at) == (event, "repair", action.done_at)
    assert state(defect) is DefectState.PUT_RIGHT


def test_what_puts_nothing_right_leaves_it_open(world: World, ram: Line):
    defect = a_defect(world, ram)
    acted(world, defect, puts_right=False, done="Seals ordered.")
    assert state(defect) is DefectState.OPEN
    assert refused(lambda: acted(world, defect, done_at=FOUND - HOUR)).field == "done_at"
    assert refused(lambda: acted(world, defect, done=" ")).field == "done"


def test_it_may_be_judged_anew_with_a_reason(world: World, ram: Line):
    defect = a_defect(world, ram)
    assert stopping_operations(world.rig) == [standing_of(defect)]
    told = {"severity": "limits", "barrier": "bore", "by": world.supervisor, "at": LATER}
    assert refused(lambda: defects.judge_anew(defect, reason="", **told)).field == "reason"
    judged = defects.judge_anew(defect, reason="Lower ram covers the same pipe.", **told)
    assert judged.severity == "limits"
    entry = TrailEntry.objects.get(event="defect.judged-anew")
    assert (entry.before, entry.after) == ({"severity": "stops"}, {"severity": "limits"})
    assert stopping_operations(world.rig) == []


# Closing


def test_a_later_passing_test_of_just_what_failed_closes_it(world: World, ram: Line):
    defect = a_defect(world, ram)
    acted(world, defect)
    line = a_passing_line(world)
    assert [(one.line, one.shows_it_cured) for one in retests_of(standing_of(defect))] == [(line, True)]
    proven(world, defect, line)
    assert state(defect) is DefectState.PROVEN
    assert "closed" in refused(lambda: acted(world, defect)).reason


def test_a_repeat_in_the_same_test_closes_it(world: World):
    record = a_judged_draft(world, curve=leaking())
    again = steps.retest_step(record.steps.get(), by=world.supervisor, at=STARTED)
    a_recording(record, world, good(), step=again)
    signed(record, world)
    failed, passed = of_record(record)
    defect = a_defect(world, failed)
    assert retests_of(standing_of(defect))[0].line == passed
    proven(world, defect, passed)
    assert state(defect) is DefectState.PROVEN


def test_a_test_on_other_pipe_or_unsealed_or_made_before_the_work_closes_nothing(world: World, ram: Line):
    defect = a_defect(world, ram)
    other_pipe = a_passing_line(world, pipe_in_hole="3.5 in")
    assert "another pipe" in refused(lambda: proven(world, defect, other_pipe)).reason
    draft = Line.objects.get(step__record=a_judged_draft(world, at=LATER + HOUR))
    assert "not sealed" in refused(lambda: proven(world, defect, draft)).reason
    good_line = a_passing_line(world, at=LATER + 2 * HOUR)
    acted(world, defect, done_at=LATER + 9 * HOUR, at=LATER + 10 * HOUR)
    assert "before the last work" in refused(lambda: proven(world, defect, good_line)).reason
    assert state(defect) is DefectState.PUT_RIGHT


def test_the_failed_line_itself_and_tests_of_before_close_nothing(world: World):
    before = Line.objects.get(step__record=a_sealed_record(world, at=STARTED - timedelta(days=2)))
    line = a_leaking_ram(world)
    defect = a_defect(world, line)
    assert "before the failure" in refused(lambda: proven(world, defect, before)).reason
    assert "did not pass" in refused(lambda: proven(world, defect, line)).reason
    assert retests_of(standing_of(defect)) == []


def test_a_closing_falls_away_when_its_test_is_corrected(world: World, ram: Line):
    defect = a_defect(world, ram)
    line = a_passing_line(world)
    proven(world, defect, line)
    corrected = superseding.supersede_record(
        line.step.record, reason="Chart of another test.", by=world.supervisor, at=LATER + 7 * HOUR
    )
    signed(corrected, world, at=LATER + 8 * HOUR)
    standing = standing_of(defect)
    assert (standing.state, standing.closing, standing.fallen.line) == (DefectState.OPEN, None, line)
    disposed(world, defect, at=LATER + 9 * HOUR)
    assert state(defect) is DefectState.DISPOSED


def test_a_disposition_says_who_approved_what_and_why(world: World, ram: Line):
    defect = a_defect(world, ram)
    for field in ("disposition", "approved_by", "reference", "reason"):
        assert refused(lambda name=field: disposed(world, defect, **{name: " "})).field == field
    assert refused(lambda: disposed(world, defect, disposition="as-it-is")).field == "disposition"
    closing = disposed(world, defect)
    assert (state(defect), closing.reference) == (DefectState.DISPOSED, "MOC-031")
    assert "closed" in refused(lambda: disposed(world, defect)).reason


def test_a_function_that_failed_is_cured_by_a_function_test_alone(world: World):
    slow, station = {"Annular": {"closing_time": "50 s"}}, with_controls(world)["Drill floor station"]
    record = a_sealed_function_test(world, ["Annular"], slow, station=station)
    line = line_of(record, "Annular")
    assert line.outcome == "failed"
    defect = a_defect(world, line, found_at=record.concluded_at)
    assert (defect.shown_by, defect.pressure_from) == ("function", "")
    later = a_sealed_function_test(world, ["Annular"], station=station, at=LATER)
    proven(world, defect, line_of(later, "Annular"))
    assert state(defect) is DefectState.PROVEN


# What never changes


def test_what_was_found_and_done_is_neither_changed_nor_deleted(world: World, ram: Line):
    defect = a_defect(world, ram)
    rows = [defect, acted(world, defect), disposed(world, defect)]
    for row in rows:
        model = type(row)
        with pytest.raises(IntegrityError, match="never changes"), transaction.atomic():
            model.objects.filter(pk=row.pk)._raw_delete(using="default")
    for changed in ({"description": "Nothing."}, {"found_at": LATER}, {"pressure_si": 1.0}, {"line": None}):
        with pytest.raises(IntegrityError, match="never changes"), transaction.atomic():
            Defect.objects.filter(pk=defect.pk).update(**changed)
    with pytest.raises(IntegrityError, match="never changes"), transaction.atomic():
        DefectClosing.objects.update(reason="Because.")
    assert Defect.objects.filter(pk=defect.pk).update(severity="limits") == 1, "it may be judged anew"


@pytest.mark.parametrize(
    "facts",
    [
        {"closed_by": "disposition", "disposition": "as-it-is", "approved_by": "", "reference": "1", "reason": "x"},
        {"closed_by": "retest"},
    ],
)
def test_a_closing_without_its_reason_is_refused_by_the_database(world: World, ram: Line, facts):
    defect = a_defect(world, ram)
    with pytest.raises(IntegrityError, match="defectclosing_whole"), transaction.atomic():
        DefectClosing.objects.create(defect=defect, entered_at=LATER, entered_by="x", **facts)


# What is reported


def test_reports_are_due_by_the_rules_the_rig_followed(world: World, ram: Line):
    standing = standing_of(a_defect(world, ram))
    due = {one.rule.id: one.due_at.isoformat() for one in standing.reports if one.due_at}
    assert due == {
        "ocs-failure": "2026-04-02T00:00:00-05:00",
        "ocs-failure-analysis": "2026-06-01T00:00:00-05:00",
    }
    assert standing.next_report.rule.id == "ocs-failure"
    assert not standing.report_is_late(FOUND)
    assert standing.report_is_late(FOUND + timedelta(days=31))


def test_a_report_made_is_on_file_and_begins_the_next_time(world: World, ram: Line):
    defect = a_defect(world, ram)
    told = {"by": world.supervisor, "at": LATER + HOUR, "done_at": LATER, "reference": "LTR-9"}
    too_soon = refused(lambda: defect_steps.report_defect(defect, rule_id="ocs-failure-analysis-ended", **told))
    assert "has not been entered" in too_soon.reason
    assert refused(lambda: defect_steps.report_defect(defect, rule_id="other", **told)).field == "rule_id"
    defect_steps.report_defect(defect, rule_id="ocs-failure-analysis", **told)
    by_rule = {one.rule.id: one for one in standing_of(defect).reports}
    assert by_rule["ocs-failure-analysis"].in_time
    assert by_rule["ocs-failure-analysis-ended"].due_at.isoformat() == "2026-07-02T00:00:00-05:00"


def test_nothing_is_reported_of_what_was_entered_in_error(world: World, ram: Line):
    defect = a_defect(world, ram)
    disposed(world, defect, disposition="in-error")
    assert standing_of(defect).reports == ()


# What was found and what was taken up


def test_failed_lines_nobody_took_up_are_listed(world: World, ram: Line):
    assert not_taken_up(world.rig, since=STARTED - HOUR) == [ram]
    assert [one.defect for one in failed_lines_of(ram.step.record).values()] == [None]
    defect = a_defect(world, ram)
    assert not_taken_up(world.rig, since=STARTED - HOUR) == []
    assert [one.defect for one in failed_lines_of(ram.step.record).values()] == [defect]
