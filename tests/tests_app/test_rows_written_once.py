"""Work, deferrals and postponements are written once: the database refuses every other way in."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, models, transaction

from tests.builders import DAY
from tests.builders_tests_app import World
from tests.builders_work import a_deferral, a_postponement, key_of, some_work
from tests_app.models import Completion, Deferral, Postponement
from trail import guards

pytestmark = pytest.mark.django_db
WITHDRAWN = {"withdrawn_at": DAY, "withdrawn_by": "Ida Storm", "withdrawn_reason": "Wrong stack."}
ENDED = {"ended_at": DAY, "ended_by": "Ida Storm", "ended_reason": "Safe again."}


@pytest.fixture
def rows(world: World) -> dict[type[models.Model], models.Model]:
    """One row of each kind."""
    annular = key_of(world, "pressure-test", "Annular")
    return {
        Completion: some_work(world, f"inspection/stack-{world.stack.pk}"),
        Deferral: a_deferral(world, annular),
        Postponement: a_postponement(world, annular),
    }


def change(row: models.Model, **values: Any) -> None:
    with transaction.atomic():
        type(row).objects.filter(pk=row.pk).update(**values)


def refuses(row: models.Model, **values: Any) -> None:
    with pytest.raises(IntegrityError, match="never changes"):
        change(row, **values)


def test_nothing_written_is_written_over(rows):
    for row in rows.values():
        later = {f.name for f in row._meta.concrete_fields} & {*WITHDRAWN, *ENDED, "called_at", "called_by"}
        fixed = [f for f in row._meta.concrete_fields if f.name not in later and not f.primary_key]
        assert len(fixed) > 8
        for field in fixed:
            other = _another(field, row)
            if other is not None:
                refuses(row, **{field.attname: other})


def _another(field: models.Field, row: models.Model) -> Any:
    """Return another value the column takes; None for relations and what other constraints refuse first."""
    value = getattr(row, field.attname)
    if isinstance(field, models.BooleanField):
        return not value
    if isinstance(field, models.DateTimeField):
        return (value or DAY) + timedelta(seconds=1)
    if isinstance(field, models.CharField | models.TextField) and value and not field.name.endswith(("value", "unit")):
        return "x"
    return {"changed": True} if isinstance(field, models.JSONField) else None


def test_nothing_is_deleted(rows):
    for row in rows.values():
        with pytest.raises(IntegrityError, match="never changes"), transaction.atomic():
            type(row).objects.filter(pk=row.pk)._raw_delete(using="default")


def test_a_row_is_withdrawn_once_and_whole(rows):
    for model in (Completion, Deferral):
        refuses(rows[model], withdrawn_by="Somebody")
        change(rows[model], **WITHDRAWN)
        refuses(rows[model], withdrawn_reason="Another reason.")
        refuses(rows[model], withdrawn_at=None, withdrawn_by="", withdrawn_reason="")


def test_a_postponement_is_called_for_once_ends_once_and_then_stands_still(rows):
    row = rows[Postponement]
    refuses(row, called_by="Somebody")
    change(row, called_at=DAY, called_by="Ida Storm")
    refuses(row, called_at=DAY + timedelta(hours=1))
    change(row, **ENDED)
    refuses(row, ended_reason="Another reason.")


def test_the_reason_is_held_by_the_database_too(rows):
    for model, values in ((Completion, WITHDRAWN), (Deferral, WITHDRAWN), (Postponement, ENDED)):
        bare = {name: "" if name.endswith("reason") else value for name, value in values.items()}
        with pytest.raises(IntegrityError):
            change(rows[model], **bare)


def test_the_guards_stand(db):
    assert guards.missing(connection) == ()
    if connection.vendor == "postgresql":
        for model in (Completion, Deferral, Postponement):
            with pytest.raises(IntegrityError, match="never changes"), transaction.atomic():
                connection.cursor().execute(f'TRUNCATE "{model._meta.db_table}" CASCADE')
