"""Rounds of precharge readings from before their gauge was kept with them: the copy they get says when it was made."""

from collections.abc import Iterator
from datetime import date

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from django.db.migrations.executor import MigrationExecutor

from equipment.models import PrechargeCheck
from equipment.queries.copies import as_used
from tests import builders as a
from trail import guards

BEFORE = [("equipment", "0003_lessee_s_representative"), ("tests_app", "0001_initial")]
PSI, KELVIN = 6894.757, 294.26
FIGURES = {
    "design_precharge": ("1000", "psi", 1000 * PSI),
    "reference_temperature": ("70", "degF", KELVIN),
    "charged_pressure": ("3000", "psi", 3000 * PSI),
}


@pytest.fixture
def back_to_the_present() -> Iterator[None]:
    """Bring the database back, whatever happened."""
    yield
    call_command("migrate", verbosity=0)


@pytest.mark.django_db(transaction=True)
def test_rounds_of_before_get_a_copy_marked_as_made_later_and_stay_unchangeable(back_to_the_present: None):
    executor = MigrationExecutor(connection)
    guards.lift(connection)  # as manage.py migrate does
    executor.migrate(BEFORE)
    then = executor.loader.project_state(BEFORE).apps
    rig = then.get_model("equipment", "Rig").objects.create(
        name="Northing 2", kind="jack-up", time_zone="UTC", created_at=a.DAY
    )
    component = then.get_model("equipment", "Component").objects.create(rig=rig, kind="accumulator-bank", serial="B-1")
    columns = {
        f"{name}_{part}": value
        for name, figures in FIGURES.items()
        for part, value in zip(("value", "unit", "si"), figures, strict=True)
    }
    bank = then.get_model("equipment", "Bank").objects.create(component=component, purpose="main", **columns)
    gauge = then.get_model("equipment", "Instrument").objects.create(
        rig=rig,
        kind="gauge",
        serial="G-1",
        range_high_value="5000",
        range_high_unit="psi",
        range_high_si=5000 * PSI,
        calibration_due_on=date(2026, 2, 1),
    )
    then.get_model("equipment", "PrechargeCheck").objects.create(
        bank=bank,
        instrument=gauge,
        taken_at=a.DAY,
        taken_by="Ben Marsh",
        fluid_bled_off=True,
        recorded_at=a.DAY,
        recorded_by="Ben Marsh",
    )
    call_command("migrate", verbosity=0)
    check = PrechargeCheck.objects.get()
    assert check.instrument_as_used == as_used(check.instrument) | {"copied_later": True}
    with pytest.raises(DatabaseError), transaction.atomic():
        PrechargeCheck.objects.update(remarks="changed")
