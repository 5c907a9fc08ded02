"""A recorder's file of a drawdown: its steps are proposed, and count once the tester takes them over."""

import pytest

from calcs.units import Dimension, from_si
from equipment.errors import Refused
from tests.builders_drawdowns import SIGNED, BankWorld, a_drawdown_draft, filled, lawful_readings, read
from tests.drawdowns_made import Made, drawdown
from tests_app.actions import channels, drawdown_functions, drawdown_recordings, recordings
from tests_app.errors import RecordIsStale
from tests_app.models import Record, Recording
from tests_app.queries.open_points import open_points

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(bank_world: BankWorld) -> BankWorld:
    return bank_world


@pytest.fixture
def draft(world: BankWorld) -> Record:
    return filled(a_drawdown_draft(world, start_pressure="", start_settled=False), world)


DROPS = ((900.0, 14.0), (180.0, 4.0), (170.0, 4.0), (40.0, 2.0), (40.0, 2.0))


def csv_of(made: Made) -> bytes:
    recording = made.recording
    lines = [
        f"{second:.1f},{from_si(pressure, 'psi', Dimension.PRESSURE):.1f}"
        for second, pressure in zip(recording.elapsed, recording.pressures, strict=True)
    ]
    return "\n".join(["Elapsed s,Pressure psi", *lines]).encode()


def attached(draft: Record, world: BankWorld, content: bytes | None = None) -> Recording:
    return drawdown_recordings.attach_drawdown_recording(
        draft,
        file_name="drawdown.csv",
        content=content if content is not None else csv_of(drawdown(DROPS, wait=60)),
        content_type="text/csv",
        by=world.supervisor,
        at=SIGNED,
    )


def accepted(draft: Record, world: BankWorld) -> Record:
    draft.refresh_from_db()
    return drawdown_recordings.accept_proposed(draft, version=draft.version, by=world.supervisor, at=SIGNED)


def test_its_steps_are_proposed_in_the_order_of_the_functions(world: BankWorld, draft: Record):
    recording = attached(draft, world)
    functions = list(draft.drawdown_functions.order_by("order"))
    assert [one.proposed["confirmed"] for one in functions] == [False] * 5
    at_once = [float(one.proposed["pressure_at_once"]["value"]) for one in functions]
    truth = [step[2] for step in drawdown(DROPS, wait=60).truth]
    assert at_once == pytest.approx(truth, abs=15)
    assert len(recording.facts["drops"]) == 5


def test_nothing_is_read_before_the_tester_takes_it_over(world: BankWorld, draft: Record):
    attached(draft, world)
    assert not draft.drawdown_functions.filter(pressure_at_once_si__isnull=False).exists()
    assert any("wait to be taken over" in point.reason for point in open_points(draft))


def test_what_was_found_becomes_readings(world: BankWorld, draft: Record):
    attached(draft, world)
    record = accepted(draft, world)
    first = record.drawdown_functions.get(order=1)
    assert first.pressure_at_once.si == pytest.approx(drawdown(DROPS, wait=60).truth[0][2] * 6894.757, rel=0.01)
    assert first.seconds == pytest.approx(14, abs=2)
    assert first.proposed["confirmed"]
    assert str(record.drawdown_test.start_pressure) == "3,000 psi"
    assert record.drawdown_test.wait_seconds == pytest.approx(60, abs=3)


def test_a_time_from_the_watch_stands(world: BankWorld, draft: Record):
    timed = {1: drawdown_functions.FunctionReading(seconds="19.5")}
    read(draft, world, timed)
    attached(draft, world)
    assert accepted(draft, world).drawdown_functions.get(order=1).seconds == 19.5


def test_it_is_not_taken_over_on_a_stale_page(world: BankWorld, draft: Record):
    seen = draft.version
    attached(draft, world)
    with pytest.raises(RecordIsStale):
        drawdown_recordings.accept_proposed(draft, version=seen, by=world.supervisor, at=SIGNED)


def test_a_file_without_drops_is_kept_and_says_why(world: BankWorld, draft: Record):
    flat = "\n".join(["Elapsed s,Pressure psi", *(f"{second},3000" for second in range(300))]).encode()
    recording = attached(draft, world, flat)
    assert recording.facts["drops"] == []
    assert "No drop like that of a drawdown" in recording.facts["reasons"][0]
    with pytest.raises(Refused):
        accepted(draft, world)


def test_fewer_drops_than_functions_are_pointed_out(world: BankWorld, draft: Record):
    recording = attached(draft, world, csv_of(drawdown(DROPS[:3], wait=60)))
    assert "3 drops were found for 5 functions" in recording.facts["reasons"][0]
    assert [bool(one.proposed) for one in draft.drawdown_functions.order_by("order")] == [
        True,
        True,
        True,
        False,
        False,
    ]


def test_set_aside_it_proposes_nothing_more(world: BankWorld, draft: Record):
    recording = attached(draft, world)
    recordings.withdraw_recording(recording, reason="Of another bank", by=world.supervisor, at=SIGNED)
    assert not draft.drawdown_functions.filter(proposed__isnull=False).exists()


def test_moved_functions_are_given_the_steps_by_their_new_places(world: BankWorld, draft: Record):
    recording = attached(draft, world)
    last = draft.drawdown_functions.get(order=5)
    drawdown_functions.move_function(last, to_order=1, by=world.supervisor, at=SIGNED)
    first = draft.drawdown_functions.get(pk=last.pk)
    assert first.proposed["began_s"] == recording.facts["drops"][0]["began_s"]


def test_searched_again_when_functions_were_added_later(world: BankWorld):
    record = a_drawdown_draft(world)
    recording = attached(record, world)
    filled(record, world)
    assert record.drawdown_functions.get(order=5).proposed is not None
    drawdown_recordings.search_steps_again(recording, by=world.supervisor, at=SIGNED)
    assert record.drawdown_functions.get(order=5).proposed is not None


def test_of_several_columns_the_one_chosen_is_searched(world: BankWorld, draft: Record):
    rows = csv_of(drawdown(DROPS, wait=60)).decode().splitlines()[1:]
    lines = [f"{row},{3000 + index % 2}" for index, row in enumerate(rows)]
    content = "\n".join(["Elapsed s,Bank (psi),Manifold (psi)", *lines]).encode()
    recording = attached(draft, world, content)
    assert not draft.drawdown_functions.filter(proposed__isnull=False).exists()
    assert any("several pressure columns" in point.reason for point in open_points(draft) if point.blocks)
    channels.choose_channel(recording, channel="Bank (psi)", by=world.supervisor, at=SIGNED)
    assert draft.drawdown_functions.get(order=1).proposed["began_s"] == pytest.approx(60, abs=2)


def test_a_pressure_test_takes_no_drawdown_file(world: BankWorld, draft: Record):
    Record.objects.filter(pk=draft.pk).update(kind="pressure")
    draft.refresh_from_db()
    with pytest.raises(Refused, match="no drawdown test"):
        attached(draft, world)


def test_readings_by_eye_still_stand_beside_a_file(world: BankWorld):
    record = filled(a_drawdown_draft(world), world)
    record = read(record, world, lawful_readings(record))
    attached(record, world)
    assert record.drawdown_functions.get(order=1).pressure_at_once.unit == "psi"
