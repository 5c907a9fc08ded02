"""Accumulator banks, and what their precharge readings say once they are brought to one temperature."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Final
from zoneinfo import ZoneInfo

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Subquery

from calcs.errors import InputError
from calcs.gas import Model, at_temperature, packing
from calcs.units import Dimension, GaugePressure
from equipment.models import (
    Bank,
    BankLocation,
    Bottle,
    BottleState,
    Component,
    Installation,
    Instrument,
    Measured,
    PrechargeBasis,
    PrechargeCheck,
    PrechargeReading,
    Rig,
)
from equipment.queries import access
from equipment.queries.access import Right, Viewer
from equipment.queries.instruments import Expiry, expiry_on

REAL: Final = Model.NITROGEN_ISOTHERMAL
IDEAL: Final = Model.BOYLE
_ROUNDING: Final = 1.0
"""Pa by which a sum's rounding may carry a reading over the edge of its band; no gauge tells it."""


class Judgement(StrEnum):
    """How a precharge stands against its design."""

    WITHIN = "within"
    LOW = "low"
    HIGH = "high"
    NO_BAND = "no-band"
    NOT_WORKED_OUT = "not-worked-out"


@dataclass(frozen=True)
class Compensated:
    """A reading at the bank's reference temperature by one law of the gas, beside what it should be.

    Attributes:
        pressure: gauge, Pa; None when the law can't be asked for it.
        deviation: over (+) or under (−) the design, Pa.
    """

    pressure: float | None
    deviation: float | None
    judgement: Judgement


@dataclass(frozen=True)
class Judged:
    """A reading by real nitrogen, which is what counts, and by the ideal gas beside it.

    Attributes:
        within_accuracy: the verdict hangs on less than the accuracy of the gauge, a share of its full scale.
    """

    reading: PrechargeReading
    real: Compensated
    ideal: Compensated
    within_accuracy: bool

    @property
    def laws_disagree(self) -> bool:
        """Tell whether the ideal gas would judge otherwise."""
        return self.real.judgement is not self.ideal.judgement


@dataclass(frozen=True)
class BottleStanding:
    """A bottle on a day: its shell test and its latest precharge, if it was ever read."""

    bottle: Bottle
    shell: Expiry
    latest: Judged | None


@dataclass(frozen=True)
class Target:
    """What the gauge at surface should show at a gas temperature, by real nitrogen and by the ideal gas."""

    temperature: float
    real: float
    ideal: float


@dataclass(frozen=True)
class BankTotals:
    """What stands in the bank now.

    Attributes:
        in_service: number of bottles in service.
        shut_off: number of bottles that stand in it, shut off.
        gas_volume: of the bottles in service, m³.
        charge_ratio: gas in the bottles in service by their latest readings, over what all bottles that stand in
            the bank hold by design: the same ratio a drawdown test finds. None while a reading is missing.
    """

    in_service: int
    shut_off: int
    gas_volume: float
    charge_ratio: float | None


def bank_of(component: Component) -> Bank | None:
    """Return the bank on file for a component the caller was already given, or None."""
    return Bank.objects.select_related("component__rig").filter(component=component).first()


def bank_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Bank:
    """Return the bank; raises NotYours or NotAllowed."""
    return access.checked(user, Bank.objects.select_related("component__rig").filter(pk=pk).first(), needs=needs)


def banks_of(rig: Rig) -> QuerySet[Bank]:
    """Return the banks of a rig whose components are in use."""
    found = Bank.objects.filter(component__rig=rig, component__retired_at__isnull=True)
    return found.select_related("component__rig").order_by("component__serial")


def place_of(bank: Bank) -> Installation | None:
    """Return where the bank stands now, or None."""
    standing = bank.component.installations.select_related("position__stack")
    return standing.filter(removed_at__isnull=True).first()


def bottle_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Bottle:
    """Return the bottle; raises NotYours or NotAllowed."""
    bottle = Bottle.objects.select_related("bank__component__rig").filter(pk=pk).first()
    return access.checked(user, bottle, needs=needs)


def bottles_standing(bank: Bank) -> QuerySet[Bottle]:
    """Return the bottles that stand in the bank now, in service or shut off, by position."""
    return bank.bottles.exclude(state=BottleState.REMOVED).order_by("position_number")


def reading_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> PrechargeReading:
    """Return the reading; raises NotYours or NotAllowed."""
    reading = PrechargeReading.objects.select_related("bottle__bank__component__rig", "check_round__instrument")
    return access.checked(user, reading.filter(pk=pk).first(), needs=needs)


def readings_of(bank: Bank) -> QuerySet[PrechargeReading]:
    """Return every reading of the bank, corrected ones too, the latest round first; `is_corrected` tells them."""
    later = PrechargeReading.objects.filter(corrects=OuterRef("pk"))
    return (
        PrechargeReading.objects.filter(bottle__bank=bank)
        .annotate(is_corrected=Exists(later))
        .select_related("bottle", "check_round__instrument", "corrects")
        .order_by("-check_round__taken_at", "bottle__position_number", "-pk")
    )


def rounds_of(bank: Bank) -> QuerySet[PrechargeCheck]:
    """Return the rounds of readings, the latest first, each with `bottle_count`, the bottles read in it."""
    read = Count("readings", filter=Q(readings__corrects__isnull=True))
    return bank.precharge_checks.annotate(bottle_count=read).select_related("instrument").order_by("-taken_at", "-pk")


def round_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> PrechargeCheck:
    """Return one round of readings; raises NotYours or NotAllowed."""
    found: PrechargeCheck | None = PrechargeCheck.objects.select_related("bank__component__rig").filter(pk=pk).first()
    return access.checked(user, found, needs=needs)


def instruments_for_precharge(rig: Rig) -> QuerySet[Instrument]:
    """Return the rig's instruments in use."""
    return rig.instruments.filter(retired_on__isnull=True).order_by("kind", "serial")


def bottle_standings(bank: Bank, *, day: date) -> list[BottleStanding]:
    """Return every bottle of the bank with its latest precharge, removed ones last. Two queries."""
    valid = PrechargeReading.objects.filter(bottle=OuterRef("pk"), corrected_by__isnull=True)
    newest = valid.order_by("-check_round__taken_at", "-pk").values("pk")[:1]
    bottles = list(bank.bottles.annotate(latest_pk=Subquery(newest)).order_by("position_number", "pk"))
    keys = [bottle.latest_pk for bottle in bottles]
    found = PrechargeReading.objects.filter(pk__in=keys).select_related("check_round__instrument")
    readings = {reading.bottle_id: reading for reading in found}
    standings = [_standing(bank, bottle, readings.get(bottle.pk), day) for bottle in bottles]
    return sorted(standings, key=lambda one: one.bottle.state == BottleState.REMOVED)


def _standing(bank: Bank, bottle: Bottle, reading: PrechargeReading | None, day: date) -> BottleStanding:
    shell = expiry_on(day, due=bottle.shell_test_due_on, missing="No shell test due on file")
    return BottleStanding(bottle, shell, judged(bank, reading) if reading else None)


def totals(bank: Bank, standings: list[BottleStanding]) -> BankTotals:
    """Return what stands in the bank, from its standings."""
    serving = [one for one in standings if one.bottle.state == BottleState.IN_SERVICE]
    shut = [one for one in standings if one.bottle.state == BottleState.SHUT_OFF]
    return BankTotals(
        in_service=len(serving),
        shut_off=len(shut),
        gas_volume=sum(one.bottle.gas_volume.si for one in serving),
        charge_ratio=_charge_ratio(bank, serving, [*serving, *shut]),
    )


def _charge_ratio(bank: Bank, serving: list[BottleStanding], standing: list[BottleStanding]) -> float | None:
    if not serving or any(one.latest is None for one in serving):
        return None
    try:
        design = packing(REAL, GaugePressure(design_on_gauge(bank)), bank.reference_temperature.si)
        held = sum(
            one.bottle.gas_volume.si
            * packing(REAL, one.latest.reading.pressure.si, one.latest.reading.gas_temperature.si)
            for one in serving
            if one.latest
        )
    except InputError:
        return None
    by_design: float = design * sum(one.bottle.gas_volume.si for one in standing)
    return float(held) / by_design


def design_on_gauge(bank: Bank) -> float:
    """Return the design precharge as the gauge at surface shows it at the reference temperature, Pa gauge.

    A precharge above hydrostatic stands over the column of seawater at depth; without a seawater gradient on
    file the control fluid's stands for both, the training handbooks' way.
    """
    design: float = bank.design_precharge.si
    return design + hydrostatic(bank)


def hydrostatic(bank: Bank) -> float:
    """Return the column the design precharge stands over, Pa; zero for a precharge as set."""
    if bank.location != BankLocation.SUBSEA or bank.precharge_basis != PrechargeBasis.ABOVE_HYDROSTATIC:
        return 0.0
    gradient = bank.seawater_gradient or bank.control_fluid_gradient
    column: float = gradient.si * bank.depth.si
    return column


def judged(bank: Bank, reading: PrechargeReading) -> Judged:
    """Return the reading brought to the bank's reference temperature and held against the design."""
    real = _compensated(bank, reading, REAL)
    hangs = _hangs_on_accuracy(bank, reading.check_round, real.deviation)
    return Judged(reading, real, _compensated(bank, reading, IDEAL), hangs)


def _hangs_on_accuracy(bank: Bank, check: PrechargeCheck, deviation: float | None) -> bool:
    """Tell whether the gauge, as it was used, could show the reading on the other side of its band."""
    band, kept = bank.precharge_tolerance, check.instrument_as_used
    if deviation is None or band is None or not kept.get("accuracy_percent") or not kept.get("range_high"):
        return False
    scale = Measured.of("{value} {unit}".format(**kept["range_high"]), Dimension.PRESSURE, field="range_high")
    return bool(abs(abs(deviation) - band.si) < float(kept["accuracy_percent"]) / 100 * scale.si)


def calibration_of(check: PrechargeCheck, *, zone: ZoneInfo) -> Expiry:
    """Return how the calibration of the round's gauge stood on the day it was read, from the copy kept then."""
    due = check.instrument_as_used.get("calibration_due_on")
    day = check.taken_at.astimezone(zone).date()
    return expiry_on(day, due=date.fromisoformat(due) if due else None, missing="No calibration due on file")


def _compensated(bank: Bank, reading: PrechargeReading, law: Model) -> Compensated:
    try:
        pressure = at_temperature(law, reading.pressure.si, reading.gas_temperature.si, bank.reference_temperature.si)
    except InputError:
        return Compensated(None, None, Judgement.NOT_WORKED_OUT)
    deviation = pressure - design_on_gauge(bank)
    return Compensated(pressure, deviation, _judgement(bank, deviation))


def _judgement(bank: Bank, deviation: float) -> Judgement:
    if bank.precharge_tolerance is None:
        return Judgement.NO_BAND
    if abs(deviation) <= bank.precharge_tolerance.si + _ROUNDING:
        return Judgement.WITHIN
    return Judgement.LOW if deviation < 0 else Judgement.HIGH


def targets(bank: Bank, temperatures: list[float]) -> list[Target]:
    """Return what the gauge at surface should show at each temperature, K; those the laws refuse are left out."""
    design, at = GaugePressure(design_on_gauge(bank)), bank.reference_temperature.si
    found = []
    for temperature in temperatures:
        try:
            real, ideal = (at_temperature(law, design, at, temperature) for law in (REAL, IDEAL))
        except InputError:
            continue
        found.append(Target(temperature, real, ideal))
    return found
