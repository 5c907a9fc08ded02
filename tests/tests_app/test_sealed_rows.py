"""A signed record never changes, whichever way one tries: every table, every way in."""

from collections.abc import Callable
from copy import deepcopy
from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError, IntegrityError, connection, models, transaction
from django.db.models import ProtectedError

from tests.builders_tests_app import (
    SIGNED,
    World,
    a_draft,
    a_judged_draft,
    a_recording,
    a_step,
    a_world,
    concluded,
    good,
    signed,
    typed,
)
from tests.kept import Keep
from tests_app.errors import RecordIsSealed
from tests_app.models import (
    Certificate,
    InstrumentUse,
    Line,
    PressureTest,
    Record,
    Recording,
    Signature,
    Step,
    TypedReading,
)
from trail import guards

pytestmark = pytest.mark.django_db

REFUSED = (RecordIsSealed, IntegrityError, ProtectedError)
CHANGES: dict[type[models.Model], dict[str, Any]] = {
    Record: {"remarks": "changed"},
    PressureTest: {"pump_operator": "Somebody else"},
    InstrumentUse: {"as_used": {}},
    Step: {"outcome": "passed"},
    Line: {"leak_description": "none at all"},
    TypedReading: {"reason": "changed"},
    Recording: {"file_name": "another.csv"},
    Signature: {"name": "Somebody else"},
    Certificate: {"number": "X-1"},
}
MODELS = list(CHANGES)


@pytest.fixture(scope="module")
def kept_sealed(keep: Keep) -> tuple[World, Record]:
    world = keep(a_world)
    return world, keep(lambda: a_full_record(world))


@pytest.fixture
def sealed(kept_sealed: tuple[World, Record], db: None) -> Record:
    return deepcopy(kept_sealed[1])


@pytest.fixture
def sealed_world(kept_sealed: tuple[World, Record], db: None) -> World:
    """The rig of the signed record."""
    return deepcopy(kept_sealed[0])


def a_full_record(world: World) -> Record:
    """A signed record with a row in every table."""
    record = a_draft(world)
    a_recording(record, world, good(), step=a_step(record, world, "Upper pipe ram"))
    typed(a_step(record, world, "Lower pipe ram"), world)
    signed(concluded(record, world), world)
    Certificate.objects.create(
        record=record, kind="certificate", number="C-1", issued_at=SIGNED, sha256="0" * 64, size=1
    )
    record.refresh_from_db()
    return record


def row_of(model: type[models.Model], record: Record) -> models.Model:
    """Return a row of that table that belongs to the record."""
    paths = {Record: "pk", Line: "step__record", TypedReading: "step__record"}
    row = model._default_manager.filter(**{paths.get(model, "record"): record.pk}).first()
    assert row is not None
    return row


def by_save(row: models.Model, changes: dict[str, Any]) -> None:
    for name, value in changes.items():
        setattr(row, name, value)
    row.save()


def by_bulk_update(row: models.Model, changes: dict[str, Any]) -> None:
    for name, value in changes.items():
        setattr(row, name, value)
    type(row)._default_manager.bulk_update([row], list(changes))


def by_queryset_update(row: models.Model, changes: dict[str, Any]) -> None:
    type(row)._default_manager.filter(pk=row.pk).update(**changes)


def by_delete(row: models.Model, changes: dict[str, Any]) -> None:
    row.delete()


def by_queryset_delete(row: models.Model, changes: dict[str, Any]) -> None:
    type(row)._default_manager.filter(pk=row.pk)._raw_delete("default")  # type: ignore[attr-defined]


def by_sql_update(row: models.Model, changes: dict[str, Any]) -> None:
    key = row._meta.pk.column
    with connection.cursor() as cursor:
        cursor.execute(f'UPDATE "{row._meta.db_table}" SET "{key}" = "{key}" WHERE "{key}" = %s', [row.pk])


def by_sql_delete(row: models.Model, changes: dict[str, Any]) -> None:
    key = row._meta.pk.column
    with connection.cursor() as cursor:
        cursor.execute(f'DELETE FROM "{row._meta.db_table}" WHERE "{key}" = %s', [row.pk])


WAYS = [
    by_save,
    by_bulk_update,
    by_queryset_update,
    by_delete,
    by_queryset_delete,
    by_sql_update,
    by_sql_delete,
]


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_no_row_of_a_signed_record_changes(
    sealed: Record, model: type[models.Model], way: Callable[[models.Model, dict[str, Any]], None]
):
    row = row_of(model, sealed)
    before = stored(row)
    with pytest.raises(REFUSED), transaction.atomic():
        way(row, dict(CHANGES[model]))
    assert stored(row) == before


def stored(row: models.Model) -> dict[str, Any]:
    return type(row)._default_manager.filter(pk=row.pk).values().get()


@pytest.mark.parametrize(
    "model", [InstrumentUse, Step, Line, TypedReading, Recording, Signature], ids=lambda model: model.__name__
)
def test_no_row_is_added_to_a_signed_record(sealed: Record, model: type[models.Model]):
    row = row_of(model, sealed)
    count = model._default_manager.count()
    row.pk = None
    for name, value in {"order": 9, "role": "witness", "phase": "high"}.items():
        if hasattr(row, name):
            setattr(row, name, value)
    with pytest.raises(IntegrityError, match="a signed record never changes"), transaction.atomic():
        model._default_manager.bulk_create([row])
    assert model._default_manager.count() == count


def test_a_row_of_a_draft_does_not_move_to_a_signed_record(sealed: Record, sealed_world: World):
    line = a_step(a_draft(sealed_world), sealed_world, "Annular").lines.get()
    target = sealed.steps.first()
    with pytest.raises(IntegrityError), transaction.atomic():
        Line.objects.filter(pk=line.pk).update(step=target)
    line.step = target
    with pytest.raises(RecordIsSealed):
        line.save()


def test_a_row_of_a_signed_record_does_not_move_to_a_draft(sealed: Record, sealed_world: World):
    line = Line.objects.filter(step__record=sealed).first()
    assert line is not None
    draft = a_step(a_draft(sealed_world), sealed_world, "Annular")
    with pytest.raises(IntegrityError), transaction.atomic():
        Line.objects.filter(pk=line.pk).update(step=draft)
    line.step = draft
    with pytest.raises(RecordIsSealed):
        line.save()


def test_a_seal_is_not_taken_off(sealed: Record):
    for column, value in (("sealed_at", None), ("frozen_at", None), ("sha256", "f" * 64), ("content", "{}")):
        with pytest.raises(IntegrityError), transaction.atomic():
            Record.objects.filter(pk=sealed.pk).update(**{column: value})


def test_a_frozen_record_takes_its_seal_and_nothing_else(world: World):
    record = a_judged_draft(world)
    Record.objects.filter(pk=record.pk).update(frozen_at=SIGNED)
    with pytest.raises(IntegrityError), transaction.atomic():
        Record.objects.filter(pk=record.pk).update(remarks="late thought")
    with pytest.raises(IntegrityError), transaction.atomic():
        Line.objects.filter(step__record=record).update(remarks="late thought")
    sealing = {"sealed_at": SIGNED, "sha256": "a" * 64, "content": "{}", "passed": True}
    assert Record.objects.filter(pk=record.pk).update(**sealing) == 1


def test_the_database_refuses_two_records_after_one_seal(world: World):
    first, second = a_judged_draft(world), a_judged_draft(world)
    sealing = {"frozen_at": SIGNED, "sealed_at": SIGNED, "previous_sha256": "", "content": "{}", "passed": True}
    Record.objects.filter(pk=first.pk).update(sha256="a" * 64, **sealing)
    with pytest.raises(IntegrityError), transaction.atomic():
        Record.objects.filter(pk=second.pk).update(sha256="b" * 64, **sealing)


def test_the_kind_refusal_says_how_to_correct_a_record(sealed: Record):
    with pytest.raises(RecordIsSealed) as refusal:
        sealed.save()
    assert "the correction is a new record" in refusal.value.remedy


@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite knows no TRUNCATE")
def test_no_table_of_records_is_emptied_by_truncate(sealed: Record):
    connection.check_constraints()  # PostgreSQL empties no table with checks still waiting for the commit
    for model in MODELS:
        with pytest.raises(DatabaseError, match="never changes"), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(f'TRUNCATE "{model._meta.db_table}" CASCADE')


def test_every_guard_stands(db: None):
    assert guards.missing(connection) == ()


def test_a_draft_is_free(world: World):
    record = a_judged_draft(world)
    Record.objects.filter(pk=record.pk).update(remarks="still a draft", concluded_at=SIGNED + timedelta(hours=1))
    record.steps.get().lines.all().update(remarks="fine")
