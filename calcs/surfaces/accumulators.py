"""The surfaces ``usable-volume``, ``pressure-after`` and ``precharge-at-temperature``, and how a bank is read."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from calcs import accumulators, working
from calcs.accumulators import Bank, PrechargeBasis, PressureAfter, UsableVolume
from calcs.errors import InputError
from calcs.fields import Fields, quoted
from calcs.gas import DEFAULT_TEMPERATURE, Model
from calcs.pressures import SEAWATER_GRADIENT
from calcs.rules import Edition
from calcs.surfaces.answers import quantity, quantity_or_none
from calcs.units import Dimension, GaugePressure, System
from calcs.working import Amount, Step

MODELS: Final = tuple(model.value for model in Model)
BASES: Final = tuple(basis.value for basis in PrechargeBasis)


@dataclass(frozen=True, slots=True)
class UsableQuestion:
    """A bank, what it is charged to, and the least pressure that still works."""

    bank: Bank
    charged: GaugePressure
    minimum: GaugePressure


@dataclass(frozen=True, slots=True)
class AfterQuestion:
    """A bank, what it is charged to, and the fluid drawn from it."""

    bank: Bank
    charged: GaugePressure
    withdrawn: float


@dataclass(frozen=True, slots=True)
class PrechargeQuestion:
    """A precharge, the temperature it was read at, and the one it is asked for."""

    precharge: GaugePressure
    settled: float
    later: float
    model: Model


@dataclass(frozen=True, slots=True)
class PrechargeAnswer:
    """The precharge by the model asked for, and by an ideal gas and real nitrogen beside it."""

    asked: PrechargeQuestion
    precharge: GaugePressure
    ideal: GaugePressure
    real: GaugePressure


def read_bank(fields: Fields, *, precharge: GaugePressure | None = None) -> Bank:
    """Read a bank; its precharge too, unless one is given to stand in for it."""
    return Bank(
        bottle_volume=fields.si("bottle_volume", Dimension.VOLUME),
        precharge=read_pressure(fields, "precharge") if precharge is None else precharge,
        model=read_model(fields),
        count=read_count(fields),
        temperature=read_temperature(fields),
        depth=fields.si("depth", Dimension.LENGTH) if fields.has("depth") else 0.0,
        fluid_gradient=_gradient(fields),
        precharge_basis=PrechargeBasis(fields.choice("precharge_basis", BASES, BASES[0])),
        sea_temperature=fields.si_or_none("sea_temperature", Dimension.TEMPERATURE),
    )


def read_model(fields: Fields) -> Model:
    """Read the law the gas follows."""
    return Model(fields.choice("model", MODELS))


def read_pressure(fields: Fields, key: str) -> GaugePressure:
    """Read a gauge pressure."""
    return GaugePressure(fields.si(key, Dimension.PRESSURE))


def read_temperature(fields: Fields) -> float:
    """Read the temperature of the settled gas, 60 °F when none is given."""
    return fields.si("temperature", Dimension.TEMPERATURE) if fields.has("temperature") else DEFAULT_TEMPERATURE


def read_count(fields: Fields) -> int:
    """Read how many bottles there are, one when none is given."""
    given = fields.any("count", 1)
    if isinstance(given, float) and given.is_integer():
        given = int(given)
    if isinstance(given, bool) or not isinstance(given, int):
        raise InputError(fields.path("count"), f"{quoted(given)} is not a count of bottles.", "Give a whole number.")
    return given


def parse_usable_volume(fields: Fields, _: Sequence[Edition]) -> UsableQuestion:
    """Read bank, charged and minimum pressure."""
    return UsableQuestion(read_bank(fields), read_pressure(fields, "charged"), read_pressure(fields, "minimum"))


def compute_usable_volume(asked: UsableQuestion) -> tuple[UsableQuestion, UsableVolume]:
    """Answer the question."""
    return asked, accumulators.usable_volume(asked.bank, asked.charged, asked.minimum)


def format_usable_volume(answer: tuple[UsableQuestion, UsableVolume], system: System) -> dict[str, Any]:
    """Write usable fluid, gas volumes, each correction, every model beside, working and cautions."""
    asked, found = answer
    bank = asked.bank
    return {
        "per_bottle": _volume(found.per_bottle, system),
        "total": _volume(found.total, system),
        "model": bank.model.value,
        "gas_volumes": {
            "precharged": _volume(found.volumes.at_precharge, system),
            "charged": _volume(found.volumes.at_charged, system),
            "minimum": _volume(found.volumes.at_minimum, system),
        },
        "stored": _volume(found.stored, system),
        "left_at_minimum": _volume(found.stored - found.total, system),
        "emptied_before_minimum": found.emptied,
        "gas_temperature_at_minimum": quantity_or_none(found.coldest, Dimension.TEMPERATURE, system),
        "at_bottle": {
            "fluid_column": _pressure(bank.head, system),
            "precharge": _pressure(bank.precharge_at_bottle, system),
            "charged": _pressure(bank.at_bottle(asked.charged), system),
            "minimum": _pressure(bank.at_bottle(asked.minimum), system),
        },
        "corrections": [
            {
                "name": one.name,
                "per_bottle": _volume(one.per_bottle, system),
                "change": _volume(one.change, system),
            }
            for one in found.corrections
        ],
        "beside": {
            one.model.value: {
                "per_bottle": quantity_or_none(one.per_bottle, Dimension.VOLUME, system),
                "total": quantity_or_none(one.total, Dimension.VOLUME, system),
                "words": one.model.words,
                "reason": one.reason,
            }
            for one in found.beside
        },
        "working": working.lines(found.working, system),
        "cautions": list(found.cautions),
    }


def parse_pressure_after(fields: Fields, _: Sequence[Edition]) -> AfterQuestion:
    """Read bank, charged pressure and the volume drawn from the whole bank."""
    return AfterQuestion(read_bank(fields), read_pressure(fields, "charged"), fields.si("withdrawn", Dimension.VOLUME))


def compute_pressure_after(asked: AfterQuestion) -> PressureAfter:
    """Answer the question."""
    return accumulators.pressure_after(asked.bank, asked.charged, asked.withdrawn)


def format_pressure_after(found: PressureAfter, system: System) -> dict[str, Any]:
    """Write the pressure, what is left, every model beside, working and cautions."""
    return {
        "pressure": _pressure(found.pressure, system),
        "left": _volume(found.left, system),
        "stored": _volume(found.most, system),
        "gas_temperature": quantity(found.gas_temperature, Dimension.TEMPERATURE, system),
        "beside": {
            model.value: {
                "pressure": quantity_or_none(pressure, Dimension.PRESSURE, system),
                "words": model.words,
            }
            for model, pressure in found.beside
        },
        "working": working.lines(found.working, system),
        "cautions": list(found.cautions),
    }


def parse_precharge_at_temperature(fields: Fields, _: Sequence[Edition]) -> PrechargeQuestion:
    """Read a precharge and its two temperatures."""
    return PrechargeQuestion(
        read_pressure(fields, "precharge"),
        fields.si("from", Dimension.TEMPERATURE),
        fields.si("to", Dimension.TEMPERATURE),
        read_model(fields),
    )


def compute_precharge_at_temperature(asked: PrechargeQuestion) -> PrechargeAnswer:
    """Answer the question; an error names the field as this surface calls it."""
    return PrechargeAnswer(
        asked,
        accumulators.precharge_at_temperature(asked.model, asked.precharge, asked.settled, asked.later),
        accumulators.precharge_at_temperature(Model.BOYLE, asked.precharge, asked.settled, asked.later),
        accumulators.precharge_at_temperature(Model.NITROGEN_ISOTHERMAL, asked.precharge, asked.settled, asked.later),
    )


def format_precharge_at_temperature(found: PrechargeAnswer, system: System) -> dict[str, Any]:
    """Write the precharge, the ideal and the real one beside it, and the working."""
    asked = found.asked
    terms = (
        Amount(asked.precharge, Dimension.PRESSURE),
        Amount(asked.settled, Dimension.TEMPERATURE),
        Amount(asked.later, Dimension.TEMPERATURE),
    )
    how = "nitrogen of {0} at {1}, at the same density" if asked.model.is_real else "{0} absolute × {2} / {1}, absolute"
    how += " at {2}" if asked.model.is_real else ", less the atmosphere"
    return {
        "precharge": _pressure(found.precharge, system),
        "change": _pressure(found.precharge - asked.precharge, system),
        "beside": {"ideal": _pressure(found.ideal, system), "real": _pressure(found.real, system)},
        "working": [
            Step("Precharge at the other temperature", how, terms, Amount(found.precharge, Dimension.PRESSURE)).line(
                system
            )
        ],
        "cautions": ["The temperature is the gas's own: wait until it has settled after filling or discharging."],
    }


def _gradient(fields: Fields) -> float:
    if not fields.has("fluid_gradient"):
        return SEAWATER_GRADIENT
    return fields.si("fluid_gradient", Dimension.PRESSURE_GRADIENT)


def _pressure(si: float, system: System) -> dict[str, Any]:
    return quantity(si, Dimension.PRESSURE, system)


def _volume(si: float, system: System) -> dict[str, Any]:
    return quantity(si, Dimension.VOLUME, system)
