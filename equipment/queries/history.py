"""The trail of a component or another row, with that of what hangs on it."""

from typing import Any, Final

from django.db.models import Model, Q, QuerySet

from equipment.models import (
    Bank,
    Bottle,
    Cavity,
    Component,
    Document,
    Elastomer,
    Installation,
    Instrument,
    PrechargeCheck,
    PrechargeReading,
    PressureSystem,
    Rig,
    ServiceEvent,
    SystemElement,
    Well,
)
from trail import entries
from trail.models import TrailEntry

MOST_SHOWN: Final = 100


def of_component(component: Component) -> QuerySet[TrailEntry]:
    """Return the newest entries on the component, its installations, elastomers, documents and service."""
    parts = (Installation, Elastomer, Document, ServiceEvent)
    condition = _on(Component, component.pk)
    for model in parts:
        keys = model._base_manager.filter(component=component.pk).values("pk")
        condition |= Q(subject_type=model._meta.label_lower, subject_id__in=keys)
    return TrailEntry.objects.filter(condition)[:MOST_SHOWN]


def of_instrument(instrument: Instrument) -> QuerySet[TrailEntry]:
    """Return the newest entries on the instrument and its documents."""
    keys = Document.everything.filter(instrument=instrument.pk).values("pk")
    documents = Q(subject_type=Document._meta.label_lower, subject_id__in=keys)
    return TrailEntry.objects.filter(_on(Instrument, instrument.pk) | documents)[:MOST_SHOWN]


def of_bank(bank: Bank) -> QuerySet[TrailEntry]:
    """Return the newest entries on the bank, its bottles and the readings of their precharge."""
    condition = _on(Bank, bank.pk)
    keys: tuple[tuple[type[Model], QuerySet[Any]], ...] = (
        (Bottle, bank.bottles.values("pk")),
        (PrechargeCheck, bank.precharge_checks.values("pk")),
        (PrechargeReading, PrechargeReading.objects.filter(bottle__bank=bank).values("pk")),
    )
    for model, found in keys:
        condition |= Q(subject_type=model._meta.label_lower, subject_id__in=found)
    return TrailEntry.objects.filter(condition)[:MOST_SHOWN]


def of_pressure_system(system: PressureSystem) -> QuerySet[TrailEntry]:
    """Return the newest entries on the pressure system, its cavities and elements; those removed tell of the rig's."""
    condition = _on(PressureSystem, system.pk)
    for model in (Cavity, SystemElement):
        keys = model.objects.filter(system=system).values("pk")
        condition |= Q(subject_type=model._meta.label_lower, subject_id__in=keys)
        condition |= Q(subject_type=model._meta.label_lower, before__system_id=str(system.pk))
    return TrailEntry.objects.filter(condition)[:MOST_SHOWN]


def of_well(well: Well) -> QuerySet[TrailEntry]:
    """Return the newest entries on the well and its sections."""
    sections = Q(subject_type="equipment.holesection", subject_id__in=well.sections.values("pk"))
    return TrailEntry.objects.filter(_on(Well, well.pk) | sections)[:MOST_SHOWN]


def of_rig(rig: Rig) -> QuerySet[TrailEntry]:
    """Return the newest entries on the rig itself and its crew."""
    crew = Q(subject_type="equipment.crewmember", rig_number=rig.pk)
    return TrailEntry.objects.filter(_on(Rig, rig.pk) | crew)[:MOST_SHOWN]


def of_row(row: Model) -> QuerySet[TrailEntry]:
    """Return the newest entries on one row alone."""
    return entries.of_subject(row)[:MOST_SHOWN]


def _on(model: type[Model], key: int) -> Q:
    return Q(subject_type=model._meta.label_lower, subject_id=key)
