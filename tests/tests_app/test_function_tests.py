"""Function tests as recorded: lines judged by rule, stations in turn, statements first, worked again, corrected."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.db.models import Q
from django.test.utils import CaptureQueriesContext

from equipment.actions import components, controls
from equipment.errors import Refused
from tests.builders_functions import (
    a_function_draft,
    a_sealed_function_test,
    concluded,
    facts_of,
    line_of,
    signed,
    subjects,
    with_controls,
    worked,
)
from tests.builders_tests_app import STARTED, World, a_sealed_record, a_world
from tests_app.actions import function_lines, function_tests, pressure_tests, superseding
from tests_app.actions.function_tests import FunctionHeading, WorkedFrom
from tests_app.errors import RecordIsStale
from tests_app.models import FunctionTest, Record
from tests_app.queries.functioned import function_events, functioned
from tests_app.queries.open_points import open_points
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db

RAMS = ("Upper pipe ram", "Lower pipe ram")
WEEK = timedelta(days=7)


def fresh(record: Record) -> Record:
    return Record.objects.get(pk=record.pk)


def outcome_of(record: Record) -> str:
    return FunctionTest.objects.get(pk=record.pk).outcome


def points(record: Record, *, blocking: bool = True) -> list[str]:
    return [point.reason for point in open_points(fresh(record)) if point.blocks is blocking]


def test_a_line_is_made_for_each_thing_worked_as_it_is_usually_worked(world: World):
    with_controls(world)
    record = a_function_draft(world, "Annular", "Blind-shear ram", "Inner choke valve", "Drill floor station")
    found = [(str(line), line.worked, line.closed_on) for line in record.function_lines.order_by("order")]
    assert found == [
        ("Annular", "close-open", "pipe"),
        ("Blind-shear ram", "close-open", "open-hole"),
        ("Inner choke valve", "open-close", ""),
        ("Drill floor station", "sequence", ""),
    ]


def test_nothing_passes_before_somebody_says_that_it_worked(world: World):
    record = a_function_draft(world, *RAMS)
    assert outcome_of(record) == "pending"
    assert any("not said whether it worked completely" in reason for reason in points(record))
    worked(record, world)
    assert outcome_of(record) == "passed"


def test_one_tenth_over_the_time_fails_the_test(world: World):
    # 30 s for a surface ram: API Standard 53, 6.3, by 30 CFR 250.735(a).
    assert outcome_of(worked(a_function_draft(world, *RAMS), world, {RAMS[0]: {"closing_time": "30 s"}})) == "passed"
    late = worked(a_function_draft(world, *RAMS), world, {RAMS[0]: {"closing_time": "30.1 s"}})
    assert outcome_of(late) == "failed"
    assert any("Closing took 30.1 s; the rule allows 30 s." in reason for reason in points(late, blocking=False))


def test_a_choke_valve_is_compared_with_the_fastest_ram_of_the_same_record(world: World):
    record = a_function_draft(world, *RAMS, "Inner choke valve")
    worked(record, world, {RAMS[0]: {"closing_time": "9 s"}, "Inner choke valve": {"closing_time": "9.5 s"}})
    assert line_of(record, "Inner choke valve").verdict["reasons"][0].startswith("Opening took 12 s")
    quick = {"closing_time": "8.9 s", "opening_time": "8.9 s"}
    worked(record, world, {RAMS[0]: {"closing_time": "9 s"}, "Inner choke valve": quick})
    assert outcome_of(record) == "passed"


def test_the_counter_tells_the_volumes_and_argues_with_one_that_differs(world: World):
    record = a_function_draft(world, RAMS[0])
    counted = {"counter_before": "120.0 gal", "counter_between": "125.9 gal", "counter_after": "131.3 gal"}
    worked(record, world, {RAMS[0]: counted})
    line = line_of(record, RAMS[0])
    assert (str(line.closing_volume), str(line.opening_volume)) == ("5.9 gal", "5.4 gal")
    with pytest.raises(ValidationError) as refused:
        worked(record, world, {RAMS[0]: {**counted, "closing_volume": "7 gal"}})
    assert f"closing_volume-{line.pk}" in refused.value.message_dict
    with pytest.raises(ValidationError) as back:
        worked(record, world, {RAMS[0]: {**counted, "counter_between": "119 gal"}})
    assert f"counter_between-{line.pk}" in back.value.message_dict


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"closing_time": "4000 s"}, "closing_time"),
        ({"worked": "close", "opening_time": "9 s"}, "opening_time"),
        ({"closed_on": "open-hole", "pipe": "5 in"}, "pipe"),
        ({"closing_volume": "9000 gal"}, "closing_volume"),
        ({"leak_seen": True}, ""),
        ({"closing_time": "fast"}, "closing_time"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field_and_nothing_is_saved(world: World, facts: dict, field: str):
    record = a_function_draft(world, *RAMS)
    line = line_of(record, RAMS[0])
    with pytest.raises(ValidationError) as refused:
        worked(record, world, {RAMS[0]: facts})
    assert any(name.startswith(field) and name.endswith(f"-{line.pk}") for name in refused.value.message_dict)
    assert line_of(record, RAMS[1]).completed is None


def test_a_page_older_than_the_draft_does_not_write_over_it(world: World):
    record = a_function_draft(world, *RAMS)
    seen = record.version
    worked(record, world)
    lines = {line.pk: facts_of(line) for line in record.function_lines.all()}
    with pytest.raises(RecordIsStale):
        function_lines.write_function_lines(record, lines=lines, version=seen, by=world.supervisor, at=STARTED)


def test_writing_the_same_again_changes_nothing_and_leaves_no_entry(world: World):
    record = worked(a_function_draft(world, *RAMS), world)
    count, version = TrailEntry.objects.count(), record.version
    assert worked(record, world).version == version
    assert TrailEntry.objects.count() == count


def test_a_station_used_the_time_before_is_pointed_out_with_its_clause(world: World):
    items = with_controls(world)
    station = items["Drill floor station"]
    a_sealed_function_test(world, RAMS, station=station)
    again = worked(a_function_draft(world, *RAMS, station=station, at=STARTED + WEEK), world, at=STARTED + WEEK)
    turn = line_of(again, RAMS[0]).verdict["turns"][0]
    assert "The same station as the time before, Drill floor station" in turn["words"]
    assert turn["clause"] == "30 CFR 250.737(d)(9)"
    assert outcome_of(again) == "passed"
    other = a_function_draft(world, *RAMS, station=items["Toolpusher's station"], at=STARTED + WEEK)
    assert line_of(worked(other, world, at=STARTED + WEEK), RAMS[0]).verdict["turns"] == []


def test_a_pressure_test_from_the_same_station_counts_as_the_time_before(world: World):
    items = with_controls(world)
    a_sealed_record(world)  # closes the upper pipe ram from the drill floor
    record = a_function_draft(world, *RAMS, station=items["Drill floor station"], at=STARTED + WEEK)
    found = {str(line): bool(line.verdict["turns"]) for line in record.function_lines.all()}
    assert found == {"Upper pipe ram": True, "Lower pipe ram": False}


def test_where_stations_take_turns_one_has_to_be_named(world: World):
    with_controls(world)
    record = worked(a_function_draft(world, *RAMS), world)
    assert any(reason.startswith("No station is named for: Upper pipe ram") for reason in points(record))


def test_the_deadman_on_the_seafloor_waits_for_what_has_to_be_so_first():
    world = a_world("subsea")
    items = with_controls(world)
    record = a_function_draft(world, "Deadman", reason="landed", station=items["Drill floor station"])
    worked(record, world)
    with pytest.raises(Refused, match="An ROV was on bottom") as refused:
        concluded(fresh(record), world)
    assert refused.value.field == "concluded_at"
    said = {"by": world.supervisor, "at": STARTED}
    keys = ["rov-on-bottom", "well-secured", "quick-disconnect-possible"]
    with pytest.raises(Refused) as nobody:
        function_tests.confirm_statements(record, confirmed=keys, said_by=" ", **said)
    assert nobody.value.field == "said_by"
    function_tests.confirm_statements(record, confirmed=keys, said_by="Uma Field", **said)
    concluded(fresh(record), world)
    assert points(record) == []


def test_on_the_stump_nothing_has_to_be_so_first_by_these_rules():
    world = a_world("subsea")
    with_controls(world)
    record = worked(a_function_draft(world, "Deadman", reason="stump"), world)
    assert concluded(fresh(record), world).concluded_at is not None


def test_what_failed_passes_once_it_is_worked_again(world: World):
    record = worked(a_function_draft(world, *RAMS), world, {RAMS[0]: {"closing_time": "40 s"}})
    failed = line_of(record, RAMS[0])
    again = function_tests.work_again(failed, by=world.supervisor, at=STARTED)
    assert again.retest_of == failed
    assert outcome_of(record) == "pending"
    record = fresh(record)
    function_lines.write_function_lines(
        record, lines={again.pk: facts_of(again)}, version=record.version, by=world.supervisor, at=STARTED
    )
    assert outcome_of(record) == "passed"
    with pytest.raises(Refused, match="worked again already"):
        function_tests.work_again(failed, by=world.supervisor, at=STARTED)
    with pytest.raises(Refused, match="Take that one out first"):
        function_tests.remove_function_line(failed, by=world.supervisor, at=STARTED)


def test_times_are_told_beside_those_before(world: World):
    station = with_controls(world)["Drill floor station"]
    a_sealed_function_test(world, RAMS, {RAMS[0]: {"closing_time": "6.8 s"}}, station=station)
    later = a_function_draft(world, *RAMS, station=station, at=STARTED + WEEK)
    worked(later, world, {RAMS[0]: {"closing_time": "9.2 s"}}, at=STARTED + WEEK)
    assert line_of(later, RAMS[0]).verdict["times"][0]["trend"] == "9.2 s, 6.8 s last time."


def test_the_fluid_used_is_told_beside_the_component_on_file(world: World):
    ram = world.at(RAMS[0]).installations.get().component
    components.amend_component(
        ram, closing_volume="5.8 gal", reason="From its papers.", by=world.supervisor, at=STARTED
    )
    record = worked(a_function_draft(world, RAMS[0]), world, {RAMS[0]: {"closing_volume": "6.1 gal"}})
    assert line_of(record, RAMS[0]).verdict["volumes"] == ["Closing: 6.1 gal used, 5.8 gal on file: 5 % more."]


def test_a_draft_judged_again_takes_the_component_as_it_stands_and_a_sealed_record_does_not(world: World):
    station = with_controls(world)["Drill floor station"]
    sealed = a_sealed_function_test(world, RAMS, station=station)
    draft = a_function_draft(world, *RAMS)
    ram = world.at(RAMS[0]).installations.get().component
    components.amend_component(
        ram, closing_volume="5.8 gal", reason="From its papers.", by=world.supervisor, at=STARTED
    )
    worked(draft, world)
    assert line_of(draft, RAMS[0]).subject_as_tested["closing_volume"] == {"value": "5.8", "unit": "gal"}
    assert line_of(sealed, RAMS[0]).subject_as_tested["closing_volume"] is None


def test_a_strange_station_and_nothing_to_work_are_refused(world: World):
    elsewhere = with_controls(a_world())["Drill floor station"]
    with pytest.raises(Refused) as refused:
        a_function_draft(world, *RAMS, station=elsewhere)
    assert refused.value.field == "station"
    with pytest.raises(Refused) as nothing:
        function_tests.open_function_test(
            stack=world.stack,
            section=None,
            heading=FunctionHeading(STARTED, "interval"),
            subjects=[],
            worked_from=WorkedFrom(),
            instruments=[],
            by=world.supervisor,
            at=STARTED,
        )
    assert nothing.value.field == "subjects"


def test_the_heading_moves_only_to_where_everything_worked_stood(world: World):
    record = a_function_draft(world, *RAMS)
    amended = function_tests.amend_function_heading(
        record,
        section=world.section,
        heading=FunctionHeading(STARTED - timedelta(hours=1), "interval", operator="Driller"),
        instruments=[world.recorder],
        version=record.version,
        by=world.supervisor,
        at=STARTED,
    )
    assert (amended.function_test.operator, amended.section) == ("Driller", world.section)
    with pytest.raises(Refused) as refused:
        function_tests.amend_function_heading(
            record,
            section=None,
            heading=FunctionHeading(STARTED - timedelta(days=4000), "interval"),
            instruments=[],
            version=amended.version,
            by=world.supervisor,
            at=STARTED,
        )
    assert refused.value.field == "started_at"


def test_events_hold_sealed_tests_and_drafts_and_leave_corrected_ones_out(world: World):
    station = with_controls(world)["Drill floor station"]
    first = a_sealed_function_test(world, RAMS, station=station)
    ram = world.at(RAMS[0]).installations.get().component_id
    events = function_events([ram], [station.pk])
    assert [(one.started, one.concluded, one.passed) for one in events["component", ram]] == [
        (first.started_at, first.concluded_at, True)
    ]
    assert ("controlitem", station.pk) not in events
    correction = superseding.supersede_record(first, reason="A time misread.", by=world.supervisor, at=STARTED + WEEK)
    worked(correction, world, {RAMS[0]: {"closing_time": "40 s"}}, at=STARTED + WEEK)
    assert [one.passed for one in function_events([ram], [])["component", ram]] == [True]
    signed(fresh(correction), world)
    assert [one.passed for one in function_events([ram], [])["component", ram]] == [False]
    running = a_function_draft(world, RAMS[0], at=STARTED + WEEK)
    assert [one.concluded for one in function_events([ram], [])["component", ram]][-1] is None
    pressure_tests.discard_record(running, reason="Not made.", by=world.supervisor, at=STARTED + WEEK)
    assert len(function_events([ram], [])["component", ram]) == 1


def test_a_correction_keeps_what_was_worked_and_which_line_works_which_again(world: World):
    record = worked(a_function_draft(world, *RAMS), world, {RAMS[0]: {"closing_time": "40 s"}})
    again = function_tests.work_again(line_of(record, RAMS[0]), by=world.supervisor, at=STARTED)
    record = fresh(record)
    function_lines.write_function_lines(
        record, lines={again.pk: facts_of(again)}, version=record.version, by=world.supervisor, at=STARTED
    )
    items = with_controls(world)
    lines = {line.pk: facts_of(line, station=items["Drill floor station"]) for line in record.function_lines.all()}
    del lines[record.function_lines.get(order=1).pk]
    record = fresh(record)
    function_lines.write_function_lines(record, lines=lines, version=record.version, by=world.supervisor, at=STARTED)
    failed = record.function_lines.get(order=1)
    record = fresh(record)
    function_lines.write_function_lines(
        record,
        lines={failed.pk: facts_of(failed, closing_time="40 s", station=items["Drill floor station"])},
        version=record.version,
        by=world.supervisor,
        at=STARTED,
    )
    concluded(fresh(record), world)
    signed(fresh(record), world)
    controls.amend_control_item(
        items["Drill floor station"], name="Driller's station", reason="Its plate.", by=world.supervisor, at=STARTED
    )
    new = superseding.supersede_record(fresh(record), reason="A remark.", by=world.supervisor, at=STARTED + WEEK)
    copied = list(new.function_lines.order_by("order"))
    assert copied[2].retest_of == copied[0]
    assert copied[0].controls_as_used["station"]["name"] == "Drill floor station"
    assert outcome_of(new) == "passed"


def test_one_query_tells_what_every_record_says(world: World, django_assert_max_num_queries):
    station = with_controls(world)["Drill floor station"]
    a_sealed_function_test(world, RAMS, station=station)
    with django_assert_max_num_queries(1):
        found = functioned(Q(record__rig=world.rig))
    assert len(found) == 2
    assert len(subjects(world)) > 8


def test_the_open_points_take_as_many_queries_for_two_lines_as_for_ten(world: World):
    with_controls(world)
    small, large = a_function_draft(world, *RAMS), a_function_draft(world)
    counts = []
    for record in (small, large):
        with CaptureQueriesContext(connection) as captured:
            open_points(fresh(record))
        counts.append(len(captured))
    assert counts[0] == counts[1]
