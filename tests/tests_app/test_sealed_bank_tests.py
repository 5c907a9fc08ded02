"""Drawdown and pump tests signed: frozen in every row, checked in every column, corrected by another record."""

from collections.abc import Callable, Iterator
from copy import deepcopy
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, models, transaction
from django.db.models import ProtectedError

from equipment.actions import banks
from equipment.errors import Refused
from tests.builders_drawdowns import (
    SIGNED,
    STARTED,
    BankWorld,
    a_bank_world,
    a_drawdown_draft,
    a_drawdown_heading,
    a_pump,
    a_pump_draft,
    a_recharge,
    a_sealed_drawdown,
    a_sealed_pump_test,
    a_whole_drawdown,
    signed,
)
from tests.builders_tests_app import a_sealed_record, a_world
from tests.kept import Keep
from tests.tests_app.test_drawdown_recordings import attached
from tests.tests_app.test_sealed_rows import WAYS
from tests_app.actions import drawdowns, superseding
from tests_app.errors import RecordIsSealed
from tests_app.models import (
    DrawdownFunction,
    DrawdownTest,
    InstrumentUse,
    Line,
    PressureTest,
    PumpReading,
    PumpTest,
    Recharge,
    Record,
    Recording,
    Step,
    TypedReading,
)
from tests_app.queries import records, verification
from tests_app.queries.drawdowns import last_drawdown, last_pump_test
from tests_app.queries.open_points import open_points
from tests_app.seals import sha256_of
from trail import guards
from trail.entries import snapshot

pytestmark = pytest.mark.django_db

REFUSED = (RecordIsSealed, IntegrityError, ProtectedError)
CHANGES: dict[type[models.Model], dict[str, Any]] = {
    DrawdownTest: {"operator": "Somebody else"},
    DrawdownFunction: {"seconds": 1.0},
    Recharge: {"seconds": 1.0},
    InstrumentUse: {"as_used": {}},
    Recording: {"file_name": "another.csv"},
    PumpTest: {"outcome": "failed"},
    PumpReading: {"pump": "Another"},
}
BY_THE_SEAL = frozenset({"sealed_at", "passed", "content", "sha256", "previous_sha256"})
"""Columns of the record that the seal itself writes."""
OF_DRAWDOWN = (DrawdownTest, DrawdownFunction, Recharge, InstrumentUse, Recording)
OF_PUMP = (PumpTest, PumpReading, Recharge, InstrumentUse)


@pytest.fixture
def world(bank_world: BankWorld) -> BankWorld:
    return bank_world


def a_full_drawdown(world: BankWorld) -> Record:
    """A signed drawdown with a row in every table."""
    record = a_whole_drawdown(world)
    attached(record, world)
    a_recharge(record, world)
    signed(record, world)
    record.refresh_from_db()
    return record


@pytest.fixture(scope="module")
def kept_sealed(keep: Keep) -> dict[str, Record]:
    return {
        "drawdown": keep(lambda: a_full_drawdown(a_bank_world())),
        "pump": keep(lambda: a_sealed_pump_test(a_bank_world())),
    }


@pytest.fixture
def sealed_of(kept_sealed: dict[str, Record], db: None) -> Callable[[type[models.Model]], Record]:
    """Signed records, by the table a row is wanted of."""
    return lambda model: deepcopy(kept_sealed["pump" if model in (PumpTest, PumpReading) else "drawdown"])


def row_of(model: type[models.Model], record: Record) -> models.Model:
    row = model._default_manager.filter(record=record).first()
    assert row is not None
    return row


def test_a_signed_drawdown_is_sealed_and_passed(world: BankWorld):
    record = a_sealed_drawdown(world)
    assert record.sealed_at is not None
    assert record.passed is True
    assert verification.check_seal(record).holds
    assert last_drawdown(world.bank) == record


def test_one_that_failed_is_sealed_as_not_passed(world: BankWorld):
    record = a_sealed_drawdown(world, share=1.2)
    assert record.passed is False
    assert verification.check_seal(record).holds


def test_a_pump_test_is_signed_alike(world: BankWorld):
    record = a_sealed_pump_test(world)
    assert record.passed is True
    assert verification.check_seal(record).holds
    assert last_pump_test(world.bank) == record


def test_what_is_missing_is_refused_at_signing(world: BankWorld):
    record = a_whole_drawdown(world, electric_pumps_isolated=False)
    with pytest.raises(Refused, match="electric pumps were isolated"):
        signed(record, world)
    record.refresh_from_db()
    assert record.is_draft


def test_it_is_judged_anew_before_it_is_sealed(world: BankWorld):
    record = a_whole_drawdown(world, share=1.2)
    DrawdownTest.objects.filter(pk=record.pk).update(outcome="passed")
    signed(record, world)
    record.refresh_from_db()
    assert record.passed is False


def test_records_of_every_kind_follow_one_another_in_the_rigs_chain(world: BankWorld):
    first = a_sealed_drawdown(world)
    second = a_sealed_pump_test(world, at=STARTED + timedelta(days=1))
    assert second.previous_sha256 == first.sha256


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("model", CHANGES, ids=lambda model: model.__name__)
def test_no_row_of_a_signed_record_changes(
    sealed_of: Callable[[type[models.Model]], Record],
    model: type[models.Model],
    way: Callable[[models.Model, dict[str, Any]], None],
):
    row = row_of(model, sealed_of(model))
    before = type(row)._default_manager.filter(pk=row.pk).values().get()
    with pytest.raises(REFUSED), transaction.atomic():
        way(row, dict(CHANGES[model]))
    assert type(row)._default_manager.filter(pk=row.pk).values().get() == before


@pytest.mark.parametrize(
    "model", [DrawdownFunction, Recharge, PumpReading, InstrumentUse, Recording], ids=lambda model: model.__name__
)
def test_no_row_is_added_to_a_signed_record(
    sealed_of: Callable[[type[models.Model]], Record], model: type[models.Model]
):
    row = row_of(model, sealed_of(model))
    count = model._default_manager.count()
    row.pk = None
    for name, value in {"order": 9, "pump": "Triplex 9"}.items():
        if hasattr(row, name):
            setattr(row, name, value)
    with pytest.raises(IntegrityError, match="a signed record never changes"), transaction.atomic():
        model._default_manager.bulk_create([row])
    assert model._default_manager.count() == count


def test_a_charging_of_a_draft_does_not_move_to_a_signed_record(world: BankWorld):
    sealed = a_sealed_drawdown(world)
    loose = a_recharge(a_drawdown_draft(world), world)
    with pytest.raises(IntegrityError), transaction.atomic():
        Recharge.objects.filter(pk=loose.pk).update(record=sealed)


def columns_of(*held: type[models.Model]) -> Iterator[tuple[type[models.Model], str]]:
    for model in (Record, *held):
        for field in model._meta.concrete_fields:
            sealing = model is Record and field.column in BY_THE_SEAL
            if not field.primary_key and not field.is_relation and not sealing:
                yield model, field.attname


def changed(value: Any) -> Any:
    """Return another value of the same sort."""
    match value:
        case bool():
            return not value
        case int() | float():
            return value + 1
        case str():
            return ("y" if value.startswith("x") else "x") + value[1:]
        case dict() | list():
            return {"changed": True}
        case None:
            return None
    return value + timedelta(seconds=1)


def found_by_its_columns(record: Record, *held: type[models.Model]) -> dict[str, bool]:
    """Change each column of a row in each table behind the guards, one at a time, and say whether it was found."""
    connection.check_constraints()  # PostgreSQL alters no table with checks still waiting for the commit
    guards.lift(connection)
    before = verification.rows_content(record)
    told: dict[str, bool] = {}
    for model, column in columns_of(*held):
        path = {"pk": record.pk} if model is Record else {"record": record}
        row = model._default_manager.filter(**path).first()
        assert row is not None
        value = getattr(row, column)
        if value is None:
            continue
        setattr(row, column, changed(value))
        after = {**snapshot(row)}
        setattr(row, column, value)
        if after == snapshot(row):
            continue
        told[f"{model.__name__}.{column}"] = _is_found(row, column, changed(value), record, before)
    guards.install(connection)
    return told


def _is_found(row: models.Model, column: str, value: Any, record: Record, before: dict[str, Any]) -> bool:
    try:
        with transaction.atomic():
            type(row)._default_manager.filter(pk=row.pk).update(**{column: value})
            found = verification.rows_content(record, before["columns"])["sha256"] != before["sha256"]
            transaction.set_rollback(True)
            return found
    except IntegrityError:
        return True  # the database does not even hold it


def test_any_column_of_a_drawdown_changed_behind_the_guards_is_found(world: BankWorld):
    told = found_by_its_columns(a_full_drawdown(world), *OF_DRAWDOWN)
    assert [name for name, found in told.items() if not found] == []
    assert {"DrawdownTest.bank_as_tested", "DrawdownFunction.pressure_at_once_si", "Recharge.seconds"} <= set(told)


def test_any_column_of_a_pump_test_changed_behind_the_guards_is_found(world: BankWorld):
    told = found_by_its_columns(a_sealed_pump_test(world), *OF_PUMP)
    assert [name for name, found in told.items() if not found] == []
    assert {"PumpTest.verdict", "PumpReading.starts_at_si", "Recharge.limits"} <= set(told)


def test_a_row_taken_out_behind_the_guards_is_found(world: BankWorld):
    record = a_full_drawdown(world)
    connection.check_constraints()
    guards.lift(connection)
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM tests_app_recharge WHERE record_id = %s", [record.pk])
    guards.install(connection)
    assert {one.name for one in verification.check_seal(record).checks if not one.holds} == {"rows"}


def test_a_pressure_records_seal_covers_what_it_always_did():
    """Seals given before other kinds were recorded must still hold: the same tables, worked out as they were."""
    record = a_sealed_record(a_world())
    tables = {
        Record: {"pk": record.pk},
        PressureTest: {"record": record},
        InstrumentUse: {"record": record},
        Step: {"record": record},
        Line: {"step__record": record},
        TypedReading: {"step__record": record},
        Recording: {"record": record},
    }
    kept = {}
    for model, path in tables.items():
        rows = [snapshot(row) for row in model._default_manager.filter(**path).order_by("pk")]
        hidden = BY_THE_SEAL if model is Record else set()
        kept[model._meta.db_table] = [{name: row[name] for name in row if name not in hidden} for row in rows]
    assert verification.rows_content(record)["sha256"] == sha256_of(kept)


# Correcting


def superseded(record: Record, world: BankWorld) -> Record:
    return superseding.supersede_record(
        record, reason="A pressure was misread", by=world.supervisor, at=SIGNED + timedelta(days=1)
    )


def test_a_correction_of_a_drawdown_is_copied_whole(world: BankWorld):
    record = a_full_drawdown(world)
    new = superseded(record, world)
    assert (new.kind, new.supersedes, new.is_draft) == ("drawdown", record, True)
    assert new.drawdown_test.bank_as_tested == record.drawdown_test.bank_as_tested
    assert new.drawdown_test.outcome == "passed"
    assert [one.name for one in new.drawdown_functions.order_by("order")] == [
        one.name for one in record.drawdown_functions.order_by("order")
    ]
    assert new.recharges.count() == new.recordings.count() == 1
    proposed = new.drawdown_functions.get(order=1).proposed
    assert proposed["recording"] == new.recordings.get().pk
    assert verification.check_seal(record).holds
    signed(new, world, at=SIGNED + timedelta(days=2))
    assert last_drawdown(world.bank) == new


def test_a_correction_of_a_pump_test_is_copied_whole(world: BankWorld):
    record = a_sealed_pump_test(world)
    new = superseded(record, world)
    assert (new.pump_readings.count(), new.recharges.count()) == (1, 2)
    assert new.pump_test.outcome == "passed"


def test_a_correction_keeps_the_bank_as_it_was_tested_whatever_became_of_it(world: BankWorld):
    record = a_sealed_drawdown(world)
    later = SIGNED + timedelta(days=1)
    banks.amend_bank(world.bank, by=world.supervisor, at=later, design_precharge="1500 psi")
    new = superseded(record, world)
    assert not [point for point in open_points(new) if point.field == "bank"]
    amended = drawdowns.amend_drawdown_heading(
        new,
        section=world.section,
        precharge_check=world.check,
        heading=a_drawdown_heading(operator="Ada Frost"),
        instruments=[world.gauge],
        version=new.version,
        by=world.supervisor,
        at=later,
    )
    assert amended.drawdown_test.bank_as_tested == record.drawdown_test.bank_as_tested
    assert amended.drawdown_test.outcome == "passed"


def test_a_correction_takes_over_a_precharge_reading_corrected_since(world: BankWorld):
    record = a_sealed_drawdown(world)
    later = SIGNED + timedelta(days=1)
    assert world.check is not None
    reading = world.check.readings.order_by("bottle__position_number")[0]
    banks.correct_precharge_reading(
        reading, pressure="700 psi", gas_temperature="70 degF", reason="Misread", by=world.supervisor, at=later
    )
    new = superseded(record, world)
    assert [point.blocks for point in open_points(new) if point.field == "bank"] == [True]
    amended = drawdowns.amend_drawdown_heading(
        new,
        section=world.section,
        precharge_check=world.check,
        heading=a_drawdown_heading(),
        instruments=[world.gauge],
        version=new.version,
        by=world.supervisor,
        at=later,
    )
    assert amended.drawdown_test.verdict["precharge"]["in_band"] is False
    assert amended.drawdown_test.outcome == "failed"


# Access


def test_rows_are_reached_by_the_crew_alone(world: BankWorld):
    drawdown, pumps = a_drawdown_draft(world), a_pump_draft(world)
    charging, pump = a_recharge(drawdown, world), a_pump(pumps, world)
    assert records.recharge_for(world.supervisor, charging.pk) == charging
    assert records.pump_reading_for(world.supervisor, pump.pk) == pump
    stranger = a_bank_world().supervisor
    for query, key in ((records.recharge_for, charging.pk), (records.pump_reading_for, pump.pk)):
        with pytest.raises(Exception, match="nothing here"):
            query(stranger, key)
