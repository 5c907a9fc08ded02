"""Drawdown tests as recorded: opened on a bank, functions worked, readings taken, and judged by the rules."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calcs.accumulators import Bank as GasBank
from calcs.accumulators import pressure_after
from calcs.gas import Model
from calcs.units import Dimension, GaugePressure, from_si, to_si
from equipment.actions import banks, components
from equipment.errors import Refused
from tests import builders
from tests.builders_drawdowns import (
    SIGNED,
    STARTED,
    BankWorld,
    a_bank_world,
    a_drawdown_draft,
    a_drawdown_heading,
    a_pump_draft,
    a_subsea_bank_world,
    a_whole_drawdown,
    concluded,
    filled,
    lawful_readings,
    read,
)
from tests_app.actions import drawdown_functions, drawdowns, following, pressure_tests
from tests_app.actions.drawdown_functions import FunctionFacts, FunctionReading
from tests_app.errors import RecordIsStale
from tests_app.models import DrawdownTest, Record
from tests_app.queries import drawdowns as drawdown_queries
from tests_app.queries import records
from tests_app.queries.drawdown_sequence import usual_sequence
from tests_app.queries.drawdowns import Comparison, Reading, banks_to_test, comparison_of, last_drawdown
from tests_app.queries.open_points import open_points

pytestmark = pytest.mark.django_db

PSI = to_si(1, "psi", Dimension.PRESSURE)
GALLON = to_si(1, "gal", Dimension.VOLUME)


@pytest.fixture
def world(bank_world: BankWorld) -> BankWorld:
    return bank_world


def blocking(record: Record) -> list[str]:
    return [point.reason for point in open_points(Record.objects.get(pk=record.pk)) if point.blocks]


def recorded(record: Record) -> DrawdownTest:
    return DrawdownTest.objects.get(pk=record.pk)


def one_function(world: BankWorld, volume: str, **heading: Any) -> Record:
    """A draft with a single function that takes so much."""
    record = a_drawdown_draft(world, **heading)
    facts = FunctionFacts("All of it", volume=volume, volume_from="entered")
    drawdown_functions.add_function(record, facts=facts, by=world.supervisor, at=STARTED)
    return Record.objects.get(pk=record.pk)


def amended(record: Record, world: BankWorld, **facts: Any) -> Record:
    record.refresh_from_db()
    return drawdowns.amend_drawdown_heading(
        record,
        section=world.section,
        precharge_check=facts.pop("check", world.check),
        heading=a_drawdown_heading(**facts),
        instruments=[world.gauge],
        version=record.version,
        by=world.supervisor,
        at=SIGNED,
    )


# Opening


def test_a_draft_keeps_the_bank_as_it_stood(world: BankWorld):
    record = a_drawdown_draft(world)
    kept = recorded(record).bank_as_tested
    assert kept["serial"] == world.bank.component.serial
    assert len(kept["bottles"]) == 12
    assert kept["bottles"][0]["pressure"] == {"value": "1000", "unit": "psi"}
    assert kept["precharge_round"]["taken_by"] == "Ben Marsh"
    assert (record.kind, record.stack, record.number) == ("drawdown", world.stack, 1)


def test_a_bank_that_stands_nowhere_is_not_tested(world: BankWorld):
    loose = builders.a_bank(rig=world.rig, bottles=1)
    with pytest.raises(Refused, match="stood in no stack") as refused:
        drawdowns.open_drawdown_test(
            bank=loose,
            section=world.section,
            precharge_check=None,
            heading=a_drawdown_heading(),
            instruments=[world.gauge],
            by=world.supervisor,
            at=STARTED,
        )
    assert refused.value.field == "bank"


@pytest.mark.parametrize(
    ("heading", "field"),
    [
        ({"start_pressure": "900 psi"}, "start_pressure"),
        ({"start_pressure": "30000 psi"}, "start_pressure"),
        ({"start_pressure": "much"}, "start_pressure"),
        ({"gas_temperature": "-200 degC"}, "gas_temperature"),
        ({"gas_temperature": "70"}, "gas_temperature"),
        ({"wait_seconds": 0}, "wait_seconds"),
        ({"pipe_in_hole": "5 psi"}, "pipe_in_hole"),
        ({"reason": "boredom"}, "reason"),
        ({"judged_state": "later"}, "judged_state"),
    ],
)
def test_a_heading_that_can_not_be_so_is_refused_beside_its_field(
    world: BankWorld, heading: dict[str, Any], field: str
):
    with pytest.raises(ValidationError) as refused:
        a_drawdown_draft(world, **heading)
    assert field in refused.value.message_dict
    assert not Record.objects.exists()


def test_several_faults_are_named_together(world: BankWorld):
    with pytest.raises(ValidationError) as refused:
        a_drawdown_draft(world, start_pressure="much", gas_temperature="warm")
    assert {"start_pressure", "gas_temperature"} <= set(refused.value.message_dict)


def test_the_precharge_is_read_beforehand(world: BankWorld):
    late = builders.a_precharge_check(world.bank, taken_at=STARTED + timedelta(hours=1), at=SIGNED)
    record = a_drawdown_draft(world)
    with pytest.raises(Refused, match="after the test began") as refused:
        amended(record, world, check=late)
    assert refused.value.field == "precharge_check"


def test_a_round_of_another_bank_is_refused(world: BankWorld):
    other = builders.a_bank(rig=world.rig, bottles=1)
    round_of_it = builders.a_precharge_check(other, taken_at=STARTED - timedelta(hours=1))
    with pytest.raises(Refused, match="another bank"):
        a_drawdown_draft(world, check=round_of_it)


def test_it_does_not_begin_in_the_future(world: BankWorld):
    with pytest.raises(Refused) as refused:
        a_drawdown_draft(world, at=STARTED, started_at=STARTED + timedelta(minutes=1))
    assert refused.value.field == "started_at"


# Functions


def test_the_usual_functions_come_from_the_stack(world: BankWorld):
    record = filled(a_drawdown_draft(world), world)
    functions = list(record.drawdown_functions.order_by("order"))
    assert [one.name for one in functions] == [
        "Annular, close",
        "Upper pipe ram, close",
        "Lower pipe ram, close",
        "Outer choke valve, open",
        "Outer kill valve, open",
    ]
    assert [str(one.volume) for one in functions] == ["15.2 gal", "3.4 gal", "3.6 gal", "0.6 gal", "0.6 gal"]
    assert functions[0].limits["within_s"] == 30.0
    assert functions[3].limits["as_fast_as_rams"]


def test_no_shear_ram_and_no_valve_worked_by_hand_is_among_them(world: BankWorld):
    left_out = {one.position.name: one.reason for one in usual_sequence(a_drawdown_draft(world)).left_out}
    assert set(left_out) == {"Blind-shear ram", "Inner choke valve", "Inner kill valve"}


def test_a_ram_that_does_not_close_on_the_pipe_is_left_out(world: BankWorld):
    ram = world.at("Upper pipe ram").installations.get().component
    facts = {"closes_on_smallest": "3.5 in", "closes_on_largest": "3.5 in"}
    components.amend_component(ram, by=world.supervisor, at=STARTED, **facts)
    sequence = usual_sequence(a_drawdown_draft(world))
    assert "Upper pipe ram" not in [one.position.name for one in sequence.planned]


def test_a_blind_or_shear_ram_is_never_closed_on_pipe(world: BankWorld):
    record = a_drawdown_draft(world)
    facts = FunctionFacts("Blind-shear ram, close", "close", world.at("Blind-shear ram"), "8 gal", "entered")
    with pytest.raises(Refused, match="Never close it on pipe") as refused:
        drawdown_functions.add_function(record, facts=facts, by=world.supervisor, at=STARTED)
    assert refused.value.field == "position"


def test_pipe_named_later_does_not_let_a_shear_ram_in(world: BankWorld):
    record = a_drawdown_draft(world, pipe_in_hole="")
    facts = FunctionFacts("Blind-shear ram, close", "close", world.at("Blind-shear ram"), "8 gal", "entered")
    drawdown_functions.add_function(record, facts=facts, by=world.supervisor, at=STARTED)
    with pytest.raises(Refused, match="Function 1: Blind-shear ram, close"):
        amended(record, world, pipe_in_hole="5 in")


def test_without_a_closing_volume_on_file_the_component_is_named():
    world = a_bank_world()
    annular = world.at("Annular").installations.get().component
    components.amend_component(
        annular, by=world.supervisor, at=STARTED, reason="Not in its papers", closing_volume=None
    )
    with pytest.raises(Refused, match="Annular") as refused:
        filled(a_drawdown_draft(world), world)
    assert refused.value.field == "functions"


def test_a_typed_volume_that_is_not_the_components_says_so(world: BankWorld):
    record = a_drawdown_draft(world)
    facts = FunctionFacts("Annular, close", "close", world.at("Annular"), "20 gal")
    with pytest.raises(Refused, match=r"takes 15\.2 gal"):
        drawdown_functions.add_function(record, facts=facts, by=world.supervisor, at=STARTED)


@pytest.mark.parametrize("volume", ["0 gal", "-3 gal", "900 gal", "", "a bit"])
def test_a_volume_no_function_takes_is_refused(world: BankWorld, volume: str):
    with pytest.raises((Refused, ValidationError)) as refused:
        one_function(world, volume)
    assert "volume" in str(getattr(refused.value, "message_dict", getattr(refused.value, "field", "")))


def test_a_function_moves_and_the_others_make_room(world: BankWorld):
    record = filled(a_drawdown_draft(world), world)
    last = record.drawdown_functions.get(order=5)
    drawdown_functions.move_function(last, to_order=2, by=world.supervisor, at=STARTED)
    names = list(record.drawdown_functions.order_by("order").values_list("order", "name"))
    assert names[1] == (2, "Outer kill valve, open")
    assert [order for order, _ in names] == [1, 2, 3, 4, 5]
    drawdown_functions.move_function(last, to_order=5, by=world.supervisor, at=STARTED)
    assert record.drawdown_functions.get(order=5).pk == last.pk
    with pytest.raises(Refused):
        drawdown_functions.move_function(last, to_order=6, by=world.supervisor, at=STARTED)


def test_a_function_that_was_worked_is_not_taken_out(world: BankWorld):
    record = read(filled(a_drawdown_draft(world), world), world)
    with pytest.raises(Refused, match="has readings"):
        drawdown_functions.remove_function(record.drawdown_functions.get(order=2), by=world.supervisor, at=STARTED)


def test_a_function_taken_out_leaves_no_gap(world: BankWorld):
    record = filled(a_drawdown_draft(world), world)
    drawdown_functions.remove_function(record.drawdown_functions.get(order=2), by=world.supervisor, at=STARTED)
    assert list(record.drawdown_functions.order_by("order").values_list("order", flat=True)) == [1, 2, 3, 4]


def test_a_ram_needs_what_holds_it_against_the_well(world: BankWorld):
    # MASP of 5,000 psi over a closing ratio of 6.7 is 746.3 psi ("Well Control for Completions and Interventions").
    ram = world.at("Upper pipe ram").installations.get().component
    components.amend_component(ram, by=world.supervisor, at=STARTED, closing_ratio="6.7")
    record = filled(a_drawdown_draft(world), world)
    function = record.drawdown_functions.get(name="Upper pipe ram, close")
    assert str(function.minimum_pressure) == "747 psi"
    assert "5,000 psi / 6.7" in function.minimum_working[1]


def test_a_minimum_typed_in_stands(world: BankWorld):
    ram = world.at("Upper pipe ram").installations.get().component
    components.amend_component(ram, by=world.supervisor, at=STARTED, closing_ratio="6.7")
    record = a_drawdown_draft(world)
    facts = FunctionFacts("Upper pipe ram, close", "close", world.at("Upper pipe ram"), minimum_pressure="1500 psi")
    function = drawdown_functions.add_function(record, facts=facts, by=world.supervisor, at=STARTED)
    assert (str(function.minimum_pressure), function.minimum_working) == ("1,500 psi", [])


def test_a_component_amended_is_followed_by_drafts(world: BankWorld):
    record = filled(a_drawdown_draft(world), world)
    annular = world.at("Annular").installations.get().component
    fresh = components.amend_component(
        annular, reason="Maker's manual", by=world.supervisor, at=STARTED, closing_volume="16 gal"
    )
    following.rework_drafts(fresh, by=world.supervisor, at=STARTED)
    assert str(record.drawdown_functions.get(order=1).volume) == "16 gal"


# Readings


def test_readings_at_fault_are_named_by_field_and_function_and_nothing_is_saved(world: BankWorld):
    record = filled(a_drawdown_draft(world), world)
    given = {
        1: FunctionReading("21", "2000 psi"),
        2: FunctionReading("soon", "-3 psi"),
        3: FunctionReading("0", "many psi"),
        4: FunctionReading("nan", "1e9 psi"),
    }
    with pytest.raises(ValidationError) as refused:
        read(record, world, given)
    assert set(refused.value.message_dict) == {
        "seconds-2",
        "pressure_at_once-2",
        "seconds-3",
        "pressure_at_once-3",
        "seconds-4",
        "pressure_at_once-4",
    }
    assert not record.drawdown_functions.filter(pressure_at_once_si__isnull=False).exists()


def test_an_empty_field_clears_what_stood_there(world: BankWorld):
    record = read(filled(a_drawdown_draft(world), world), world)
    read(record, world, {1: FunctionReading()})
    assert record.drawdown_functions.get(order=1).pressure_at_once is None


def test_a_stale_page_does_not_write_over(world: BankWorld):
    record = filled(a_drawdown_draft(world), world)
    with pytest.raises(RecordIsStale):
        drawdown_functions.write_readings(record, readings={}, version=1, by=world.supervisor, at=STARTED)


# What it shows


def shown(comparison: Comparison, name: str) -> float:
    value = getattr(comparison.rows[-1], name)
    assert value is not None
    return from_si(value, "psi", Dimension.PRESSURE)


def test_it_is_compared_with_what_the_gas_library_says_of_the_same_bank(world: BankWorld):
    comparison = comparison_of(one_function(world, "20 gal"))
    for name, model in (
        ("cold", Model.NITROGEN_ISENTROPIC),
        ("warm", Model.NITROGEN_ISOTHERMAL),
        ("ideal", Model.BOYLE),
    ):
        bank = GasBank(10 * GALLON, GaugePressure(1000 * PSI), model, 12, to_si(70, "degF", Dimension.TEMPERATURE))
        expected = pressure_after(bank, GaugePressure(3000 * PSI), 20 * GALLON).pressure
        assert shown(comparison, name) == pytest.approx(expected / PSI, abs=0.01)


def test_cold_gas_shows_far_less_than_the_ideal_gas(world: BankWorld):
    """Trap: a hand sum promises hundreds of psi more than the gauge shows at once."""
    comparison = comparison_of(one_function(world, "24 gal"))
    assert shown(comparison, "cold") < shown(comparison, "warm") - 300
    assert shown(comparison, "ideal") > shown(comparison, "cold") + 300


def test_figures_not_saved_yet_can_be_asked_about(world: BankWorld):
    record = filled(a_drawdown_draft(world), world)
    typed = {order: Reading(at_once=(2900 - 300 * order) * PSI, seconds=10.0) for order in range(1, 6)}
    comparison = comparison_of(record, typed)
    assert [round(row.at_once / PSI) for row in comparison.rows if row.at_once] == [2600, 2300, 2000, 1700, 1400]
    assert comparison.verdict is not None
    assert record.drawdown_functions.get(order=1).pressure_at_once is None


def test_while_nothing_is_entered_it_says_what_is_missing(world: BankWorld):
    comparison = comparison_of(a_drawdown_draft(world, start_pressure=""))
    assert comparison.verdict is None
    assert "start pressure" in comparison.verdict_refused
    assert comparison.fit is None
    assert comparison.rows == ()


def test_it_asks_the_database_as_often_for_two_functions_as_for_five(world: BankWorld):
    record = filled(a_drawdown_draft(world), world)

    def queries() -> int:
        fresh = Record.objects.select_related("rig", "stack", "drawdown_test").get(pk=record.pk)
        with CaptureQueriesContext(connection) as captured:
            comparison_of(fresh)
        return len(captured)

    five = queries()
    for order in (5, 4, 3):
        drawdown_functions.remove_function(record.drawdown_functions.get(order=order), by=world.supervisor, at=STARTED)
    assert queries() == five == 1


def test_a_bank_as_its_papers_say_passes(world: BankWorld):
    record = a_whole_drawdown(world)
    test = recorded(record)
    assert (test.outcome, test.verdict["reasons"]) == ("passed", [])
    assert test.verdict["sentence"].startswith("As nameplate")
    assert test.verdict["limit"] == {"value": 1200.0, "unit": "psi"}
    assert blocking(record) == []


def test_under_the_limit_it_fails(world: BankWorld):
    record = a_whole_drawdown(world, share=1.2)
    assert recorded(record).outcome == "failed"
    assert "under the limit" in recorded(record).verdict["reasons"][0]


def test_bottles_shut_off_show_in_the_fit_though_the_papers_count_them():
    world = a_bank_world()
    record = filled(a_drawdown_draft(world), world)
    ten = GasBank(
        10 * GALLON,
        GaugePressure(1000 * PSI),
        Model.NITROGEN_ISENTROPIC,
        10,
        to_si(70, "degF", Dimension.TEMPERATURE),
    )
    readings = {}
    for row in comparison_of(record).rows:
        left = pressure_after(ten, GaugePressure(3000 * PSI), row.drawn).pressure
        readings[row.order] = FunctionReading("3.0", f"{left / PSI:.1f} psi")
    record = read(record, world, readings)
    fit = recorded(record).verdict["fit"]
    assert fit["bottles_if_precharge_right"]["value"] == pytest.approx(10, abs=0.05)
    sentence = recorded(record).verdict["sentence"]
    assert sentence.startswith("Charge low")
    assert "more than the drawdown shows: it is as if 2.0 of them gave nothing" in sentence


def test_a_low_precharge_that_was_read_is_told_from_bottles_shut_off():
    """Trap: a curve alone fixes only the product of precharge and bottles; the gauges part them."""
    record = a_whole_drawdown(a_bank_world(precharge=("830 psi",) * 12))
    sentence = recorded(record).verdict["sentence"]
    assert sentence.startswith("Charge low")
    assert sentence.endswith("the drawdown bears that out.")


def test_settled_readings_are_fitted_as_settled_gas_and_which_was_judged_is_said(world: BankWorld):
    record = filled(a_drawdown_draft(world, wait_seconds=900), world)
    both = {
        row.order: FunctionReading("3.0", f"{row.cold / PSI:.1f} psi", f"{row.warm / PSI:.1f} psi")
        for row in comparison_of(record).rows
        if row.cold and row.warm
    }
    record = read(record, world, both)
    by_state = {one.state: one.fit for one in comparison_of(record).fits}
    for fit in by_state.values():
        assert fit is not None
        assert fit.bottles_if_precharge_right.value == pytest.approx(12, abs=0.02)
    assert "taken at once, which are judged" in recorded(record).verdict["sentence"]
    settled = amended(record, world, wait_seconds=900, judged_state="settled")
    assert "taken after the wait, which are judged" in recorded(settled).verdict["sentence"]
    assert recorded(settled).verdict["fit"]["model"] == "nitrogen-isothermal"


def test_a_low_precharge_fails_first_though_it_makes_the_limit_easier():
    """Trap: 200 psi over a precharge of 700 psi is easier to keep than over 1,000 psi."""
    record = a_whole_drawdown(a_bank_world(precharge=("700 psi",) * 12))
    verdict = recorded(record).verdict
    assert recorded(record).outcome == "failed"
    assert "out of its band" in verdict["reasons"][0]
    assert verdict["limit"]["value"] >= 1200.0


def test_one_bottle_out_of_its_band_is_enough():
    record = a_whole_drawdown(a_bank_world(precharge=(*("1000 psi",) * 11, "600 psi")))
    assert recorded(record).verdict["precharge"]["in_band"] is False


def test_the_precharge_counts_at_the_gas_temperature_of_the_test():
    """Trap: 1,000 psi read at 70 °F is about 933 psi at 40 °F (real nitrogen, constant density)."""
    comparison = comparison_of(a_drawdown_draft(a_bank_world(), gas_temperature="40 degF"))
    assert comparison.precharge_measured is not None
    assert comparison.precharge_measured / PSI == pytest.approx(933.0, abs=0.5)


def test_subsea_the_column_stands_over_the_gauge():
    world = a_subsea_bank_world()
    comparison = comparison_of(one_function(world, "20 gal"))
    # Precharge at the bottle 1,000 + 667.5 psi; over the control fluid's column of 667.5 psi that is 1,000 psi.
    assert comparison.precharge_measured is not None
    assert comparison.precharge_measured / PSI == pytest.approx(1000, abs=0.5)
    bank = GasBank(
        10 * GALLON,
        GaugePressure(1667.5 * PSI),
        Model.NITROGEN_ISENTROPIC,
        12,
        to_si(70, "degF", Dimension.TEMPERATURE),
    )
    at_bottle = pressure_after(bank, GaugePressure(3667.5 * PSI), 20 * GALLON).pressure
    assert shown(comparison, "cold") == pytest.approx(at_bottle / PSI - 667.5, abs=0.5)


def test_subsea_lawful_readings_are_as_nameplate():
    world = a_subsea_bank_world()
    record = filled(a_drawdown_draft(world), world)
    assert recorded(read(record, world)).verdict["sentence"].startswith("As nameplate")


# The bank as it stood


def test_a_bottle_shut_off_after_the_test_still_counts_in_it(world: BankWorld):
    bottle = world.bank.bottles.get(position_number=3)
    later = STARTED + timedelta(days=2)
    banks.change_bottle_state(
        bottle,
        state="shut-off",
        state_since=later.date(),
        state_reason="Leaking valve",
        by=world.supervisor,
        at=later,
    )
    record = a_drawdown_draft(world)
    assert comparison_of(record).bottles == 12
    assert not any(point.field == "bank" for point in open_points(record))


def test_a_bottle_shut_off_before_it_gives_nothing(world: BankWorld):
    before = STARTED - timedelta(days=2)
    banks.change_bottle_state(
        world.bank.bottles.get(position_number=3),
        state="shut-off",
        state_since=before.date(),
        state_reason="Leaking valve",
        by=world.supervisor,
        at=before,
    )
    comparison = comparison_of(a_drawdown_draft(world))
    assert (comparison.bottles, comparison.bottles_standing) == (11, 12)


def test_a_precharge_reading_corrected_since_blocks_until_the_bank_is_copied_anew(world: BankWorld):
    record = a_whole_drawdown(world)
    assert world.check is not None
    reading = world.check.readings.order_by("bottle__position_number")[0]
    banks.correct_precharge_reading(
        reading,
        pressure="960 psi",
        gas_temperature="70 degF",
        reason="Misread",
        by=world.supervisor,
        at=SIGNED,
    )
    assert any("changed after this test copied it" in reason for reason in blocking(record))
    record = amended(record, world)
    assert blocking(record) == []
    assert recorded(record).bank_as_tested["bottles"][0]["pressure"]["value"] == "960"


# What is missing


@pytest.mark.parametrize(
    ("heading", "words"),
    [
        ({"electric_pumps_isolated": False}, "electric pumps were isolated"),
        ({"air_pumps_isolated": False}, "air pumps were isolated"),
        ({"isolation_confirmed_by": ""}, "who saw the pumps isolated"),
        ({"start_pressure": ""}, "No start pressure"),
        ({"start_settled": False}, "had settled"),
        ({"gas_temperature": ""}, "temperature of the gas"),
        ({"control_station": ""}, "No control station"),
    ],
)
def test_what_is_missing_blocks_and_is_named(world: BankWorld, heading: dict[str, Any], words: str):
    record = amended(a_whole_drawdown(world), world, **heading)
    assert any(words in reason for reason in blocking(record))


def test_without_a_round_of_precharge_it_is_not_signed(world: BankWorld):
    record = amended(a_whole_drawdown(world), world, check=None)
    assert any("No round of precharge" in reason for reason in blocking(record))


def test_a_bottle_left_out_of_the_round_is_named():
    world = a_bank_world(precharge=("1000 psi",) * 11)
    assert any("leaves out bottle 12" in reason for reason in blocking(a_whole_drawdown(world)))


def test_a_function_without_its_reading_blocks_unless_its_remarks_say_why(world: BankWorld):
    record = filled(a_drawdown_draft(world), world)
    lawful = lawful_readings(record)
    record = concluded(read(record, world, {order: lawful[order] for order in (1, 2, 3, 4)}), world)
    assert any("Outer kill valve, open: no pressure was read" in reason for reason in blocking(record))
    last = record.drawdown_functions.get(order=5)
    facts = FunctionFacts(last.name, "open", last.position, remarks="Valve stuck")
    drawdown_functions.amend_function(last, facts=facts, by=world.supervisor, at=STARTED)
    assert blocking(record) == []
    assert recorded(record).outcome == "failed"


def test_a_gauge_out_of_calibration_is_named(world: BankWorld):
    old = builders.an_instrument(world.rig, "gauge", calibration_due_on=(STARTED - timedelta(days=1)).date())
    assert any("not in calibration" in reason for reason in blocking(a_drawdown_draft(world, instruments=[old])))


def test_what_is_missing_is_asked_with_as_many_queries_for_two_bottles_as_for_twenty():
    def queries(bottles: int) -> int:
        world = a_bank_world(bottles=bottles)
        pk = a_drawdown_draft(world).pk
        fresh = records.record_for(world.supervisor, pk)
        with CaptureQueriesContext(connection) as captured:
            open_points(fresh)
        return len(captured)

    assert queries(2) == queries(20)


# On a rig's books


def test_only_banks_that_stand_in_a_stack_are_offered(world: BankWorld):
    loose = builders.a_bank(rig=world.rig, bottles=1)
    assert list(banks_to_test(world.rig)) == [world.bank]
    assert loose not in banks_to_test(world.rig)


def test_a_banks_tests_are_listed_but_for_those_given_up(world: BankWorld):
    drawdown, pumps, given_up = a_drawdown_draft(world), a_pump_draft(world), a_drawdown_draft(world)
    pressure_tests.discard_record(given_up, reason="Opened twice", by=world.supervisor, at=SIGNED)
    assert set(drawdown_queries.tests_of_bank(world.bank)) == {drawdown, pumps}


def test_a_discarded_draft_counts_for_nothing(world: BankWorld):
    record = a_whole_drawdown(world)
    pressure_tests.discard_record(record, reason="Wrong bank", by=world.supervisor, at=SIGNED)
    assert last_drawdown(world.bank) is None
    with pytest.raises(Refused, match="was discarded"):
        filled(record, world)
