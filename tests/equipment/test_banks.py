"""Accumulator banks: what is refused, what a precharge reading says, and that none is ever rewritten."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction

from calcs.units import Dimension, from_si
from equipment.actions import banks as actions
from equipment.actions import instruments
from equipment.actions.banks import Read
from equipment.errors import NotAllowed, NotYours, Refused
from equipment.models import Bank, PrechargeCheck, PrechargeReading
from equipment.queries import banks as queries
from equipment.queries import history
from equipment.queries.access import Right
from equipment.queries.banks import Judgement
from tests import builders as a

pytestmark = pytest.mark.django_db
DAY = a.DAY
BY = {"by": a.System.DEMO, "at": DAY}


def psi(pascals: float) -> float:
    return from_si(pascals, "psi", Dimension.PRESSURE)


def latest(bank: Bank) -> list[queries.Judged]:
    found = [one.latest for one in queries.bottle_standings(bank, day=DAY.date())]
    return [one for one in found if one is not None]


def a_subsea_bank(**facts) -> Bank:
    facts = {
        "location": "subsea",
        "depth": "5000 ft",
        "control_fluid_gradient": "0.445 psi/ft",
        "precharge_basis": "above-hydrostatic",
        "design_precharge": "1200 psi",
        "charged_pressure": "5000 psi",
        "minimum_operating_pressure": "1500 psi",
        "reference_temperature": "4 degC",
        **facts,
    }
    return a.a_bank(bottles=1, **facts)


# Facts of a bank


def test_only_a_component_that_is_a_bank_has_one_and_but_once():
    with pytest.raises(Refused, match="no accumulator bank"):
        a.a_bank(a.a_component(a.a_rig()))
    bank = a.a_bank()
    with pytest.raises(Refused, match="on file already"):
        a.a_bank(bank.component)


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"location": "subsea"}, "depth"),
        ({"location": "surface", "depth": "500 ft"}, "depth"),
        ({"precharge_basis": "above-hydrostatic"}, "precharge_basis"),
        ({"design_precharge": "0 psi"}, "design_precharge"),
        ({"charged_pressure": "1000 psi"}, "charged_pressure"),
        ({"minimum_operating_pressure": "3000 psi"}, "minimum_operating_pressure"),
        ({"tolerance_source": ""}, "tolerance_source"),
        ({"reference_temperature": "700 degF"}, "reference_temperature"),
    ],
)
def test_a_bank_that_can_not_be_is_refused_by_the_field_at_fault(facts, field):
    with pytest.raises(Refused) as refused:
        a.a_bank(**facts)
    assert refused.value.field == field
    assert refused.value.remedy


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"design_precharge": "a lot"}, "design_precharge"),
        ({"design_precharge": "nan psi"}, "design_precharge"),
        ({"design_precharge": "1000 psia"}, "design_precharge"),
        ({"reference_temperature": None}, "reference_temperature"),
        ({"charged_pressure": ""}, "charged_pressure"),
        ({"purpose": "spare"}, "purpose"),
    ],
)
def test_a_fact_that_can_not_be_read_is_named(facts, field):
    with pytest.raises(ValidationError) as refused:
        a.a_bank(**facts)
    assert field in refused.value.message_dict


def test_a_precharge_as_set_for_depth_may_be_over_the_supply_but_not_over_the_supply_with_its_column():
    deep = a_subsea_bank(precharge_basis="as-set", design_precharge="3854 psi", charged_pressure="3000 psi")
    assert queries.hydrostatic(deep) == 0
    with pytest.raises(Refused) as refused:
        a_subsea_bank(precharge_basis="as-set", design_precharge="5300 psi", charged_pressure="3000 psi")
    assert refused.value.field == "charged_pressure"


def test_a_bank_amended_by_somebody_else_meanwhile_is_not_overwritten():
    bank = a.a_bank()
    with pytest.raises(Refused, match="Somebody else changed this"):
        actions.amend_bank(bank, remarks="Mine.", seen="another", **BY)
    assert actions.amend_bank(bank, design_precharge="950 psi", **BY).design_precharge.text == "950"


# Bottles


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"gas_volume": "11 gal"}, "gas_volume"),
        ({"gas_volume": "12 gal"}, "gas_volume"),
        ({"gas_volume": "-1 gal"}, "gas_volume"),
        ({"position_number": 1}, "position_number"),
        ({"serial": "TAKEN"}, "serial"),
        ({"shell_test_due_on": date(2024, 6, 1)}, "shell_test_due_on"),
        ({"shell_tested_on": date(2026, 3, 9), "shell_test_due_on": None}, "shell_tested_on"),
        ({"in_service_on": date(2026, 3, 9)}, "in_service_on"),
    ],
)
def test_a_bottle_that_can_not_be_is_refused_by_the_field_at_fault(facts, field):
    bank = a.a_bank()
    a.a_bottle(bank, serial="TAKEN")
    with pytest.raises(Refused) as refused:
        a.a_bottle(bank, at=DAY, **facts)
    assert refused.value.field == field
    assert refused.value.remedy


def test_the_size_a_bottle_is_sold_by_is_not_taken_for_its_gas_volume():
    with pytest.raises(Refused, match="10 gal in a bottle of 11 gal"):
        a.a_bottle(a.a_bank(), shell_volume="11 gal", gas_volume="11 gal")


def test_a_bottle_out_of_use_says_since_when_and_why():
    bottle = a.a_bottle(a.a_bank())
    with pytest.raises(Refused) as refused:
        actions.change_bottle_state(bottle, state="shut-off", state_since=date(2026, 3, 1), state_reason=" ", **BY)
    assert refused.value.field == "state_reason"
    shut = actions.change_bottle_state(
        bottle, state="shut-off", state_since=date(2026, 3, 1), state_reason="Bladder burst.", **BY
    )
    with pytest.raises(Refused, match="in this state already"):
        actions.change_bottle_state(shut, state="shut-off", state_since=date(2026, 3, 2), state_reason="x", **BY)
    with pytest.raises(Refused) as refused:
        actions.change_bottle_state(shut, state="removed", state_since=date(2026, 2, 1), state_reason="x", **BY)
    assert refused.value.field == "state_since"


def test_a_place_is_free_once_its_bottle_is_removed_and_taken_for_the_old_one():
    bank = a.a_bank(bottles=1)
    old = bank.bottles.get()
    actions.change_bottle_state(old, state="removed", state_since=date(2026, 3, 1), state_reason="Shell test.", **BY)
    a.a_bottle(bank, position_number=1, at=DAY)
    with pytest.raises(Refused) as refused:
        actions.change_bottle_state(old, state="in-service", state_since=date(2026, 3, 2), state_reason="Tested.", **BY)
    assert refused.value.field == "position_number"


# Readings


def test_a_round_is_recorded_with_one_entry_that_holds_every_reading():
    bank = a.a_bank(bottles=3)
    a.a_precharge_check(bank, ("1010 psi", "0 psi"))
    assert [str(one.reading.pressure) for one in latest(bank)] == ["1,010 psi", "0 psi"]
    entry = history.of_bank(bank)[0]
    assert entry.event == "precharge.recorded"
    assert [one["pressure_value"] for one in entry.after["readings"]] == ["1010", "0"]


def test_every_wrong_figure_of_a_round_is_named_at_once_and_nothing_is_kept():
    bank = a.a_bank(bottles=4)
    one, two, three, four = bank.bottles.order_by("position_number")
    readings = [
        Read(one, "1000 psi", "70 degF", "1"),
        Read(two, "20000 psi", "70 degF", "2"),
        Read(three, "-5 psi", "70 degF", "3"),
        Read(four, "1000 psi", "700 degF", "4"),
    ]
    with pytest.raises(ValidationError) as refused:
        a_round(bank, readings)
    assert set(refused.value.message_dict) == {"pressure-2", "pressure-3", "gas_temperature-4"}
    assert not PrechargeCheck.objects.exists()
    assert not PrechargeReading.objects.exists()


def a_round(bank: Bank, readings: list[Read], **changes) -> PrechargeCheck:
    given = {
        "instrument": a.an_instrument(bank.component.rig, "gauge"),
        "taken_at": DAY,
        "taken_by": "Ben Marsh",
        "fluid_bled_off": True,
        **changes,
    }
    return actions.record_precharge_check(bank, readings=readings, **given, **BY)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"fluid_bled_off": False}, "fluid_bled_off"),
        ({"taken_at": DAY + timedelta(hours=1)}, "taken_at"),
    ],
)
def test_a_round_that_proves_nothing_is_refused(changes, field):
    bank = a.a_bank(bottles=1)
    with pytest.raises(Refused) as refused:
        a_round(bank, [Read(bank.bottles.get(), "1000 psi", "70 degF")], **changes)
    assert refused.value.field == field
    assert refused.value.remedy


def test_a_round_of_nothing_or_sent_twice_is_refused():
    bank = a.a_bank(bottles=1)
    with pytest.raises(Refused, match="No bottle was read"):
        a_round(bank, [])
    readings = [Read(bank.bottles.get(), "1000 psi", "70 degF")]
    a_round(bank, readings)
    with pytest.raises(Refused, match="at this very time is on file"):
        a_round(bank, readings)


def test_a_gauge_of_another_rig_or_out_of_use_is_refused():
    bank = a.a_bank(bottles=1)
    readings = [Read(bank.bottles.get(), "1000 psi", "70 degF")]
    with pytest.raises(Refused, match="another rig"):
        a_round(bank, readings, instrument=a.an_instrument(a.a_rig()))
    dropped = a.an_instrument(bank.component.rig, "gauge")
    instruments.retire_instrument(dropped, retired_on=date(2026, 2, 1), reason="Dropped.", **BY)
    dropped.refresh_from_db()
    with pytest.raises(Refused, match="out of use by then"):
        a_round(bank, readings, instrument=dropped)


@pytest.mark.parametrize("missing", ["pressure", "gas_temperature"])
def test_a_reading_without_its_pressure_or_its_temperature_is_refused(missing):
    bank = a.a_bank(bottles=1)
    read = Read(bank.bottles.get(), "1000 psi", "70 degF")
    with pytest.raises(ValidationError) as refused:
        a_round(bank, [replace(read, **{missing: None})])
    assert missing in refused.value.message_dict


def test_a_bottle_of_another_bank_or_removed_is_not_read_in_this_one():
    bank = a.a_bank(bottles=1)
    removed = a.a_bottle(bank)
    actions.change_bottle_state(removed, state="removed", state_since=date(2026, 3, 1), state_reason="Out.", **BY)
    removed.refresh_from_db()
    for bottle in (a.a_bottle(a.a_bank()), removed):
        with pytest.raises(ValidationError, match="does not stand in this bank"):
            a_round(bank, [Read(bottle, "1000 psi", "70 degF")])


def test_a_correction_stands_beside_the_reading_it_corrects():
    bank = a.a_bank(bottles=1)
    reading = a.a_precharge_check(bank, ("1999 psi",)).readings.get()
    fix = {"pressure": "999 psi", "gas_temperature": "70 degF"}
    with pytest.raises(Refused) as refused:
        actions.correct_precharge_reading(reading, **fix, reason="", **BY)
    assert refused.value.field == "reason"
    later = actions.correct_precharge_reading(reading, **fix, reason="A digit too many.", **BY)
    assert [one.reading for one in latest(bank)] == [later]
    assert [one.is_corrected for one in queries.readings_of(bank)] == [False, True]
    with pytest.raises(Refused, match="corrected already"):
        actions.correct_precharge_reading(reading, **fix, reason="Again.", **BY)
    with pytest.raises(Refused, match="figures on file"):
        actions.correct_precharge_reading(later, **fix, reason="Again.", **BY)


@pytest.mark.parametrize("rows", [PrechargeReading.objects, PrechargeCheck.objects])
def test_the_database_refuses_to_rewrite_or_delete_a_reading(rows):
    a.a_precharge_check(a.a_bank(bottles=1))
    with pytest.raises(DatabaseError, match="never changes"), transaction.atomic():
        rows.update(recorded_by="Somebody else")
    with pytest.raises(DatabaseError, match="never changes"), transaction.atomic():
        rows.all()._raw_delete(rows.db)


# What a reading says


def test_a_warm_reading_is_brought_to_the_reference_temperature_by_both_laws():
    # 1000 psig at 70 °F is 942.5 at 40 °F by the ideal gas and 933.0 by real nitrogen (computed with CoolProp from
    # the reference equation of Span et al., 2000).
    bank = a.a_bank(bottles=1, reference_temperature="40 degF", design_precharge="940 psi")
    a.a_precharge_check(bank, gas_temperature="70 degF")
    (judged,) = latest(bank)
    assert psi(judged.ideal.pressure) == pytest.approx(942.5, abs=0.05)
    assert psi(judged.real.pressure) == pytest.approx(933.0, abs=0.05)
    assert psi(judged.real.deviation) == pytest.approx(-7.0, abs=0.05)
    assert judged.real.judgement is Judgement.WITHIN


@pytest.mark.parametrize(
    ("read", "judgement"),
    [
        ("899.9 psi", Judgement.LOW),
        ("900 psi", Judgement.WITHIN),
        ("1100 psi", Judgement.WITHIN),
        ("1100.1 psi", Judgement.HIGH),
        ("0 psi", Judgement.LOW),
    ],
)
def test_the_edge_of_the_band_is_within_it(read, judgement):
    bank = a.a_bank(bottles=1)
    a.a_precharge_check(bank, (read,))
    assert latest(bank)[0].real.judgement is judgement


def test_without_a_tolerance_nothing_is_judged():
    bank = a.a_bank(bottles=1, precharge_tolerance=None, tolerance_source="")
    a.a_precharge_check(bank)
    assert latest(bank)[0].real.judgement is Judgement.NO_BAND


def test_the_ideal_gas_can_pass_a_bottle_that_real_nitrogen_does_not():
    bank = a.a_bank(bottles=1, reference_temperature="40 degF", design_precharge="1038 psi")
    a.a_precharge_check(bank, gas_temperature="70 degF")
    (judged,) = latest(bank)
    assert (judged.real.judgement, judged.ideal.judgement) == (Judgement.LOW, Judgement.WITHIN)
    assert judged.laws_disagree


def test_a_subsea_precharge_stands_over_the_water_column_when_it_is_read_on_deck():
    # 1200 psi above ambient at 5000 ft and 4 °C: about 3854 psig on a deck of 80 °F, 3706 by the ideal gas (computed
    # from the same equation, 0.445 psi/ft, atmosphere counted once).
    bank = a_subsea_bank()
    deck = 299.8167
    (target,) = queries.targets(bank, [deck])
    assert psi(queries.design_on_gauge(bank)) == pytest.approx(1200 + 5000 * 0.445)
    assert psi(target.real) == pytest.approx(3854, abs=3)
    assert psi(target.ideal) == pytest.approx(3706, abs=3)
    a.a_precharge_check(bank, ("3854 psi",), gas_temperature="80 degF")
    assert latest(bank)[0].real.judgement is Judgement.WITHIN


def test_the_column_over_a_precharge_is_seawater_where_its_gradient_is_on_file():
    bank = a_subsea_bank(control_fluid_gradient="0.433 psi/ft", seawater_gradient="0.445 psi/ft")
    assert psi(queries.hydrostatic(bank)) == pytest.approx(5000 * 0.445)
    alike = a_subsea_bank(control_fluid_gradient="0.433 psi/ft")
    assert psi(queries.hydrostatic(alike)) == pytest.approx(5000 * 0.433)
    as_set = a_subsea_bank(precharge_basis="as-set")
    assert queries.hydrostatic(as_set) == 0


def test_the_gas_of_a_bank_is_counted_against_its_nameplate():
    bank = a.a_bank(bottles=4)
    a.a_precharge_check(bank)
    full = queries.totals(bank, queries.bottle_standings(bank, day=DAY.date()))
    assert (full.in_service, full.shut_off) == (4, 0)
    assert full.charge_ratio == pytest.approx(1.0)
    actions.change_bottle_state(
        bank.bottles.first(), state="shut-off", state_since=date(2026, 3, 1), state_reason="Leaks.", **BY
    )
    short = queries.totals(bank, queries.bottle_standings(bank, day=DAY.date()))
    assert (short.in_service, short.shut_off) == (3, 1)
    assert short.charge_ratio == pytest.approx(0.75)
    assert from_si(short.gas_volume, "gal", Dimension.VOLUME) == pytest.approx(30)


def test_the_gas_is_not_counted_while_a_bottle_in_service_was_not_read():
    bank = a.a_bank(bottles=2)
    a.a_precharge_check(bank, ("1000 psi",))
    assert queries.totals(bank, queries.bottle_standings(bank, day=DAY.date())).charge_ratio is None


def test_bottles_are_looked_up_in_two_queries_however_many(django_assert_num_queries):
    for bottles in (1, 6):
        bank = a.a_bank(bottles=bottles)
        a.a_precharge_check(bank)
        with django_assert_num_queries(2):
            queries.bottle_standings(bank, day=DAY.date())


# Who may


def test_banks_bottles_and_readings_are_out_of_sight_of_strangers():
    rig = a.a_rig()
    bank = a.a_bank(rig=rig, bottles=1)
    reading = a.a_precharge_check(bank).readings.get()
    stranger, tester = a.a_person(rig=a.a_rig()), a.a_person(rig=rig, role="tester")
    for ask, pk in (
        (queries.bank_for, bank.pk),
        (queries.bottle_for, bank.bottles.get().pk),
        (queries.reading_for, reading.pk),
    ):
        with pytest.raises(NotYours):
            ask(stranger, pk)
        assert ask(tester, pk, needs=Right.RECORD).pk == pk
        with pytest.raises(NotAllowed):
            ask(tester, pk, needs=Right.MANAGE)


def test_a_round_keeps_its_gauge_as_it_was_used():
    """A gauge calibrated anew with another accuracy does not change what was read with it."""
    bank = a.a_bank(bottles=1)
    gauge = a.an_instrument(bank.component.rig, "gauge", range_high="3000 psi", accuracy_percent=Decimal("0.5"))
    check = a.a_precharge_check(bank, ("930 psi",), instrument=gauge)  # 30 psi from the edge of its band
    instruments.amend_instrument(
        gauge, accuracy_percent=Decimal(5), calibration_due_on=date(2031, 1, 1), certificate_number="CAL-LATER", **BY
    )
    check.refresh_from_db()
    assert check.instrument_as_used["calibration_due_on"] == "2027-01-15"
    assert check.instrument_as_used["certificate_number"] == "CAL-0001"
    assert "copied_later" not in check.instrument_as_used
    assert not latest(bank)[0].within_accuracy  # 0.5 % of 3,000 psi is 15 psi; 5 % would be 150
    assert queries.calibration_of(check, zone=bank.component.rig.zone).state == "in-date"


@pytest.mark.parametrize(("due", "state"), [(date(2026, 1, 16), "overdue"), (None, "unknown")])
def test_a_round_read_with_a_gauge_out_of_calibration_says_so_for_good(due: date | None, state: str):
    bank = a.a_bank(bottles=1)
    gauge = a.an_instrument(bank.component.rig, "gauge", calibration_due_on=due)
    check = a.a_precharge_check(bank, instrument=gauge)
    instruments.amend_instrument(gauge, calibrated_on=date(2026, 3, 1), calibration_due_on=date(2031, 1, 1), **BY)
    check.refresh_from_db()
    assert queries.calibration_of(check, zone=bank.component.rig.zone).state == state
