"""Keeps the instrument of a precharge round as it was used.

Rounds on file get a copy of their instrument as it stands now, and say so: what it was on the day is not known any
more. A round never changes, so the guards of its table are lifted for this; they are made anew after every migrate.
"""

from django.db import migrations, models

TABLE = "equipment_prechargecheck"
KIND_TEXTS = {
    "gauge": "Pressure gauge",
    "digital-recorder": "Digital recorder",
    "chart-recorder": "Chart recorder",
}


def lift_guard(apps, schema_editor):
    guard = f"{TABLE}_no_update"
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(f'DROP TRIGGER IF EXISTS "{guard}" ON "{TABLE}"')
    else:
        schema_editor.execute(f'DROP TRIGGER IF EXISTS "{guard}"')


def copy_instruments(apps, schema_editor):
    rounds = apps.get_model("equipment", "PrechargeCheck").objects.using(schema_editor.connection.alias)
    for one in rounds.select_related("instrument").iterator():
        rounds.filter(pk=one.pk).update(instrument_as_used=as_it_stands(one.instrument))


def as_it_stands(instrument):
    return {
        "kind": instrument.kind,
        "kind_text": KIND_TEXTS.get(instrument.kind, instrument.kind),
        "serial": instrument.serial,
        "maker": instrument.maker,
        "model": instrument.model,
        "range_low": quantity(instrument, "range_low"),
        "range_high": quantity(instrument, "range_high"),
        "accuracy_percent": plain(instrument.accuracy_percent),
        "chart_hours": plain(instrument.chart_hours),
        "calibrated_on": day(instrument.calibrated_on),
        "calibration_due_on": day(instrument.calibration_due_on),
        "certificate_number": instrument.certificate_number,
        "copied_later": True,
    }


def quantity(instrument, name):
    value, unit = getattr(instrument, f"{name}_value"), getattr(instrument, f"{name}_unit")
    return {"value": value, "unit": unit} if value else None


def plain(number):
    return "" if number is None else f"{number.normalize():f}"


def day(date):
    return date.isoformat() if date else ""


class Migration(migrations.Migration):

    dependencies = [
        ("equipment", "0003_lessee_s_representative"),
    ]

    operations = [
        migrations.AddField(
            model_name="prechargecheck",
            name="instrument_as_used",
            field=models.JSONField(default=dict, help_text="Its range, accuracy and calibration, as they stood."),
        ),
        migrations.RunPython(lift_guard, migrations.RunPython.noop),
        migrations.RunPython(copy_instruments, migrations.RunPython.noop),
    ]
