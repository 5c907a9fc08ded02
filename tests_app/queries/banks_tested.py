"""A bank as it stood when it was tested: the copy a record keeps of it, and what the sums need of that copy.

All in SI; pressures gauge. What a surface gauge shows of a subsea bank is the pressure at its bottles less the fluid
column: `at_bottle` and `on_gauge` go from one to the other.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from calcs import accumulators
from calcs.accumulators import PrechargeBasis
from calcs.bank_rules import PrechargeRule
from calcs.drawdown import Nameplate
from calcs.errors import InputError
from calcs.gas import Model, at_temperature, packing
from calcs.pressures import SEAWATER_GRADIENT
from calcs.units import Dimension, GaugePressure, to_si
from equipment.models import Bank, BankLocation, Bottle, BottleState, PrechargeCheck, PrechargeReading
from equipment.queries.banks import design_on_gauge
from tests_app.models import Record, RecordKind
from tests_app.queries.copies import as_used, quantity
from trail import entries

REAL: Final = Model.NITROGEN_ISOTHERMAL
_ROUNDING: Final = 1.0
"""Pa by which a sum's rounding may carry a reading over the edge of its band; no gauge tells it."""
_LEAST: Final = GaugePressure(1.0)
"""Stands for a precharge that does not reach over the fluid column, Pa: the sums ask for more than nothing."""
_STATE_CHANGED: Final = "bottle.state-changed"
_QUANTITIES: Final = (
    "depth",
    "control_fluid_gradient",
    "seawater_gradient",
    "design_precharge",
    "reference_temperature",
    "charged_pressure",
    "minimum_operating_pressure",
    "precharge_tolerance",
)


def bank_of(record: Record) -> Bank:
    """Return the bank a drawdown or pump test is of."""
    bank: Bank = record.drawdown_test.bank if record.kind == RecordKind.DRAWDOWN else record.pump_test.bank
    return bank


def copy_of(bank: Bank, check: PrechargeCheck | None, *, day: date) -> dict[str, Any]:
    """Return the bank, its bottles as they stood on a day, and their precharge as read in a round, as plain JSON."""
    readings = {} if check is None else {one.bottle_id: one for one in valid_readings(check)}
    states = _states_on(bank, day)
    return {
        "purpose": bank.purpose,
        "purpose_text": bank.get_purpose_display(),
        "serial": bank.component.serial,
        "maker": bank.component.maker,
        "model": bank.component.model,
        "location": bank.location,
        "location_text": bank.get_location_display(),
        "precharge_basis": bank.precharge_basis,
        "precharge_basis_text": bank.get_precharge_basis_display(),
        **{name: quantity(getattr(bank, name)) for name in _QUANTITIES},
        "tolerance_source": bank.tolerance_source,
        "bottles": [_bottle(one, state, readings.get(one.pk)) for one, state in states],
        "precharge_round": None if check is None else _round(check, bank),
    }


def with_readings_of(kept: Mapping[str, Any], check: PrechargeCheck | None) -> dict[str, Any]:
    """Return a kept copy with the precharge as it stands in a round, all else as it was: for a correction.

    The bank may have changed since the test that is corrected; what was tested has not.
    """
    readings = {} if check is None else {one.bottle.serial: one for one in valid_readings(check)}
    bottles = [{**one, **_reading_copy(readings.get(one["serial"]))} for one in kept["bottles"]]
    return {**kept, "bottles": bottles, "precharge_round": None if check is None else _round(check, check.bank)}


def valid_readings(check: PrechargeCheck) -> Iterable[PrechargeReading]:
    """Return the readings of a round as they stand: a corrected one gives way to the one that corrects it."""
    return check.readings.filter(corrected_by__isnull=True).select_related("bottle")


def _round(check: PrechargeCheck, bank: Bank) -> dict[str, Any]:
    return {
        "taken_at": check.taken_at.astimezone(bank.component.rig.zone).isoformat(),
        "taken_by": check.taken_by,
        "instrument": check.instrument_as_used or as_used(check.instrument),
        "remarks": check.remarks,
    }


def _bottle(bottle: Bottle, state: str, reading: PrechargeReading | None) -> dict[str, Any]:
    return {
        "number": bottle.position_number,
        "serial": bottle.serial,
        "shell_volume": quantity(bottle.shell_volume),
        "gas_volume": quantity(bottle.gas_volume),
        "state": state,
        "state_text": BottleState(state).label,
        "state_reason": bottle.state_reason if state == bottle.state else "",
        "shell_tested_on": bottle.shell_tested_on.isoformat() if bottle.shell_tested_on else "",
        "shell_test_due_on": bottle.shell_test_due_on.isoformat() if bottle.shell_test_due_on else "",
        **_reading_copy(reading),
    }


def _reading_copy(reading: PrechargeReading | None) -> dict[str, Any]:
    return {
        "pressure": quantity(reading.pressure) if reading else None,
        "gas_temperature": quantity(reading.gas_temperature) if reading else None,
    }


def _states_on(bank: Bank, day: date) -> list[tuple[Bottle, str]]:
    """Return the bottles that stood in the bank on a day, by position, with the state each was in."""
    bottles = list(bank.bottles.order_by("position_number", "pk"))
    changes: dict[int, list[Mapping[str, Any]]] = {}
    late = [one for one in bottles if one.state_since > day]
    for entry in entries.of_subjects(late).filter(event=_STATE_CHANGED).order_by("-at", "-pk"):
        changes.setdefault(entry.subject_id, []).append(entry.before or {})
    found = [(one, _state_on(one, changes.get(one.pk, ()), day)) for one in bottles]
    return [(one, state) for one, state in found if state and state != BottleState.REMOVED]


def _state_on(bottle: Bottle, changes: Iterable[Mapping[str, Any]], day: date) -> str:
    """Walk back from the present state through what it was before; empty where it did not stand there yet."""
    state, since = bottle.state, bottle.state_since
    for before in changes:
        if since <= day:
            break
        state = before.get("state", state)
        since = date.fromisoformat(before["state_since"]) if "state_since" in before else since
    return state if since <= day else ""


@dataclass(frozen=True)
class BottleTested:
    """One bottle of the copy; pressures gauge in Pa, temperatures K; None where it was not read.

    Attributes:
        at_reference: the reading brought to the bank's reference temperature by real nitrogen.
        deviation: that over (+) or under (−) the design.
    """

    number: int
    serial: str
    gas_volume: float
    in_service: bool
    pressure: GaugePressure | None
    gas_temperature: float | None
    at_reference: GaugePressure | None
    deviation: float | None


@dataclass(frozen=True)
class BankTested:
    """What the sums need of the copy.

    Attributes:
        design: precharge by design as a gauge on deck shows it, at `reference_temperature`.
        head: of the control fluid down to the bottles; zero at surface.
        tolerance: either side of the design; the bank's own, None where it has none on file.
    """

    bottles: tuple[BottleTested, ...]
    design: GaugePressure
    reference_temperature: float
    charged: GaugePressure
    minimum_operating: GaugePressure | None
    depth: float
    fluid_gradient: float
    tolerance: float | None
    tolerance_source: str

    @property
    def is_subsea(self) -> bool:
        """Tell whether a fluid column stands between the gauge and the bottles."""
        return self.depth > 0

    @property
    def head(self) -> float:
        """Return the fluid column down to the bottles, Pa."""
        return self.fluid_gradient * self.depth

    @property
    def serving(self) -> tuple[BottleTested, ...]:
        """Return the bottles in service."""
        return tuple(one for one in self.bottles if one.in_service)

    @property
    def gas_volume(self) -> float:
        """Return the gas volume of the bottles in service, m³."""
        return sum(one.gas_volume for one in self.serving)

    @property
    def unread(self) -> tuple[BottleTested, ...]:
        """Return the bottles in service whose precharge was not read."""
        return tuple(one for one in self.serving if one.pressure is None)

    def at_bottle(self, gauge: GaugePressure) -> GaugePressure:
        """Return a pressure on the surface gauge as the bottles feel it."""
        return GaugePressure(gauge + self.head)

    def on_gauge(self, at_bottle: GaugePressure) -> GaugePressure:
        """Return a pressure at the bottles less the fluid column; never under a trace over zero."""
        return max(GaugePressure(at_bottle - self.head), _LEAST)

    def design_at(self, temperature: float) -> GaugePressure:
        """Return the design precharge at the bottle, gauge, with its gas at `temperature`, K; raises InputError."""
        return at_temperature(REAL, self.design, self.reference_temperature, temperature)

    def measured_at(self, temperature: float) -> GaugePressure | None:
        """Return the mean of the bottles in service that were read, each at `temperature` by real nitrogen.

        Weighted by their gas volumes; None where none was read. Raises InputError for a temperature out of range.
        """
        read = [
            (one.gas_volume, at_temperature(REAL, one.pressure, one.gas_temperature, temperature))
            for one in self.serving
            if one.pressure is not None and one.gas_temperature is not None
        ]
        if not read:
            return None
        return GaugePressure(sum(volume * each for volume, each in read) / sum(volume for volume, _ in read))

    def in_band(self, rule: PrechargeRule | None) -> bool | None:
        """Tell whether every bottle read lies in its tolerance, the bank's own or the rule's; None without one."""
        width = self.tolerance_by(rule)
        read = [one for one in self.serving if one.pressure is not None]
        if width is None or not read:
            return None
        return all(one.deviation is not None and abs(one.deviation) <= width + _ROUNDING for one in read)

    def tolerance_by(self, rule: PrechargeRule | None) -> float | None:
        """Return the tolerance that counts, Pa: the bank's own, else the rule's, else None."""
        if self.tolerance is not None:
            return self.tolerance
        return None if rule is None else rule.tolerance

    def model_bank(self, model: Model, precharge: GaugePressure, temperature: float) -> accumulators.Bank:
        """Return the bottles in service as the sums take them: so many equal ones of their mean volume.

        `precharge` is the pressure of the gas alone at the bottle, with its gas at `temperature`. Raises InputError.
        """
        count = len(self.serving)
        if not count:
            raise InputError("bottles", "No bottle of this bank is in service.", "Put the bottles on file.")
        return accumulators.Bank(
            bottle_volume=self.gas_volume / count,
            precharge=precharge,
            model=model,
            count=count,
            temperature=temperature,
            depth=self.depth,
            fluid_gradient=self.fluid_gradient or SEAWATER_GRADIENT,
            precharge_basis=PrechargeBasis.AS_SET,
        )

    def read_ratio(self) -> float | None:
        """Return the gas read by gauge in the bottles in service over what every bottle holds by design.

        None while one in service was not read, or where a reading can't be worked out.
        """
        if self.unread or not self.serving:
            return None
        try:
            design = packing(REAL, self.design, self.reference_temperature)
            held = sum(
                one.gas_volume * packing(REAL, one.pressure, one.gas_temperature)
                for one in self.serving
                if one.pressure is not None and one.gas_temperature is not None
            )
        except InputError:
            return None
        return float(held) / (design * sum(one.gas_volume for one in self.bottles))

    def nameplate(self, temperature: float) -> Nameplate:
        """Return every bottle that stands in the bank, charged as designed; raises InputError without one."""
        if not self.bottles:
            raise InputError("bottles", "No bottle of this bank is on file.", "Put the bottles on file.")
        volume = sum(one.gas_volume for one in self.bottles)
        return Nameplate(volume / len(self.bottles), len(self.bottles), self.design_at(temperature))


def read_copy(copy: Mapping[str, Any]) -> BankTested:
    """Return what the sums need of a kept copy."""
    reference = _si(copy["reference_temperature"], Dimension.TEMPERATURE)
    design = GaugePressure(_si(copy["design_precharge"], Dimension.PRESSURE) + _column(copy))
    subsea = copy["location"] == BankLocation.SUBSEA
    return BankTested(
        bottles=tuple(_bottle_tested(one, design, reference) for one in copy["bottles"]),
        design=design,
        reference_temperature=reference,
        charged=GaugePressure(_si(copy["charged_pressure"], Dimension.PRESSURE)),
        minimum_operating=_pressure(copy["minimum_operating_pressure"]),
        depth=_si(copy["depth"], Dimension.LENGTH) if subsea else 0.0,
        fluid_gradient=_si(copy["control_fluid_gradient"], Dimension.PRESSURE_GRADIENT) if subsea else 0.0,
        tolerance=_pressure(copy["precharge_tolerance"]),
        tolerance_source=copy["tolerance_source"],
    )


def _column(copy: Mapping[str, Any]) -> float:
    """Return the column the design precharge stands over, Pa, as `equipment.queries.banks.hydrostatic` does."""
    if copy["location"] != BankLocation.SUBSEA or copy["precharge_basis"] != PrechargeBasis.ABOVE_HYDROSTATIC:
        return 0.0
    gradient = copy["seawater_gradient"] or copy["control_fluid_gradient"]
    return _si(gradient, Dimension.PRESSURE_GRADIENT) * _si(copy["depth"], Dimension.LENGTH)


def _bottle_tested(kept: Mapping[str, Any], design: GaugePressure, reference: float) -> BottleTested:
    pressure = _pressure(kept["pressure"])
    gas_temperature = _si(kept["gas_temperature"], Dimension.TEMPERATURE) if kept["gas_temperature"] else None
    at_reference = _at_reference(pressure, gas_temperature, reference)
    return BottleTested(
        number=kept["number"],
        serial=kept["serial"],
        gas_volume=_si(kept["gas_volume"], Dimension.VOLUME),
        in_service=kept["state"] == BottleState.IN_SERVICE,
        pressure=pressure,
        gas_temperature=gas_temperature,
        at_reference=at_reference,
        deviation=None if at_reference is None else at_reference - design,
    )


def _at_reference(pressure: GaugePressure | None, settled: float | None, reference: float) -> GaugePressure | None:
    if pressure is None or settled is None:
        return None
    try:
        return at_temperature(REAL, pressure, settled, reference)
    except InputError:
        return None


def _pressure(kept: Mapping[str, str] | None) -> GaugePressure | None:
    return None if kept is None else GaugePressure(_si(kept, Dimension.PRESSURE))


def _si(kept: Mapping[str, str], dimension: Dimension) -> float:
    return to_si(float(kept["value"]), kept["unit"], dimension)


def design_of(bank: Bank) -> GaugePressure:
    """Return the design precharge on a gauge on deck at the bank's reference temperature."""
    return GaugePressure(design_on_gauge(bank))


def day_of(moment: datetime, bank: Bank) -> date:
    """Return the day of a moment on the clock of the bank's rig."""
    return moment.astimezone(bank.component.rig.zone).date()
