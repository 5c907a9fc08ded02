"""How many bottles a volume asks for, and which precharge makes the most of them.

Everything is SI; pressures gauge at surface, Pa; volumes m³. A bottle is asked two things: fluid enough before the
minimum pressure is lost (pressure-limited), and fluid enough at all (volume-limited). Each is divided by a design
factor. API Specification 16D has methods with factors of their own; their published values are not confirmed to us,
so the factors are to be given, from the reader's own edition.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from calcs.accumulators import FAST_CAUTION, MAX_BOTTLE_VOLUME, MAX_COUNT, Bank, usable_volume
from calcs.closing import ClosingSequence, Function, check_functions, closing_sequence, final_and_passes
from calcs.errors import InputError
from calcs.gas import Model, at_temperature, packing, unpacked
from calcs.units import Dimension, GaugePressure
from calcs.working import Amount, Step

MAX_FACTOR: Final = 10.0
"""Largest design factor accepted."""
CURVE_POINTS: Final = 41
"""Points of the curve of usable fluid over precharge."""

FACTOR_CAUTION: Final = (
    "The factors are yours: the values the editions of API Specification 16D publish are not confirmed to us. Take "
    "them from the edition that applies to you."
)
SEQUENCE_NOTE: Final = (
    "A sum at the last function's minimum can leave an earlier function, which needs more pressure, short: check the "
    "sequence in its order."
)
PRECHARGE_CAUTION: Final = (
    "A sum of gas and fluid only: the bottle's rated pressure at deck temperature and the maker's limits of bladder or "
    "piston bound the precharge too."
)

# A count is rounded up, but 5.0000001 bottles are five: that is the noise of the sum, not a shortage.
_COUNT_NOISE: Final = 1e-6


@dataclass(frozen=True, slots=True)
class VolumetricEfficiency:
    """Usable fluid over bottle volume, with its factors.

    Attributes:
        efficiency: the lesser of the two.
        pressure_limited: (V(minimum) − V(charged))/V0 / pressure factor.
        volume_limited: (1 − V(charged)/V0) / volume factor.
        governs: ``pressure`` or ``volume``.
        optimum_precharge: where the two are equal, or the most the model gives; Pa gauge as the bank counts it.
        working: every step.
        cautions: what to bear in mind.
    """

    efficiency: float
    pressure_limited: float
    volume_limited: float
    governs: str
    optimum_precharge: GaugePressure
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BottlesRequired:
    """How many bottles a functional volume asks for.

    Attributes:
        bottles: whole bottles.
        exact: the same before rounding up.
        efficiency: what one bottle gives over its volume, with what governs.
        sequence: the functions worked in order on so many bottles; None where none were given.
        bottles_for_sequence: fewest bottles on which the sequence passes; None where none pass or none were given.
        beside: (model, bottles or None) by every model.
        working: every step.
        cautions: what to bear in mind.
    """

    bottles: int
    exact: float
    efficiency: VolumetricEfficiency
    sequence: ClosingSequence | None
    bottles_for_sequence: int | None
    beside: tuple[tuple[Model, int | None], ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Demand:
    """Fluid, m³, that must have come by the time the pressure falls to the minimum, Pa gauge at surface."""

    minimum: GaugePressure
    volume: float = 1.0


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """Usable fluid of the bank at one precharge: down to the last demand's minimum, m³, and demands covered."""

    precharge: GaugePressure
    usable: float
    times_covered: float


@dataclass(frozen=True, slots=True)
class BestPrecharge:
    """The precharge that gives most.

    Attributes:
        precharge: Pa gauge, as the bank counts it.
        usable: fluid of the bank down to the last demand's minimum, m³.
        times_covered: how many times over the tightest demand is covered.
        now: the curve's point at the bank's own precharge.
        curve: usable fluid over precharge, rising precharge.
        beside: (model, best precharge or None) by every model.
        working: every step.
        cautions: what to bear in mind.
    """

    precharge: GaugePressure
    usable: float
    times_covered: float
    now: CurvePoint
    curve: tuple[CurvePoint, ...]
    beside: tuple[tuple[Model, GaugePressure | None], ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def volumetric_efficiency(
    bank: Bank, charged: GaugePressure, minimum: GaugePressure, pressure_factor: float, volume_factor: float
) -> VolumetricEfficiency:
    """Return usable fluid over bottle volume, the lesser of pressure-limited and volume-limited.

    The optimum solves ρ0 = 1/(k/ρ2 − (k − 1)/ρ1), k = volume factor/pressure factor, but never over ρ2, past which
    the bottle empties first. Raises InputError naming the field at fault.
    """
    _check_factor("pressure_factor", pressure_factor)
    _check_factor("volume_factor", volume_factor)
    found = usable_volume(bank, charged, minimum)
    by_pressure = found.per_bottle / bank.bottle_volume / pressure_factor
    by_volume = found.stored / bank.gas_volume / volume_factor
    optimum = _optimum(bank, charged, minimum, volume_factor / pressure_factor)
    efficiency = min(by_pressure, by_volume)
    steps = (
        *found.working,
        _efficiency_step("Pressure-limited", found.per_bottle, bank.bottle_volume, pressure_factor, by_pressure),
        _efficiency_step("Volume-limited", found.stored / bank.count, bank.bottle_volume, volume_factor, by_volume),
        Step(
            "Volumetric efficiency",
            "the lesser of {0} and {1}",
            (_ratio(by_pressure), _ratio(by_volume)),
            _ratio(efficiency),
        ),
        Step("Optimum precharge", "", (), _pressure(optimum)),
    )
    governs = "pressure" if by_pressure < by_volume else "volume"
    return VolumetricEfficiency(
        efficiency, by_pressure, by_volume, governs, optimum, steps, (FACTOR_CAUTION, PRECHARGE_CAUTION, FAST_CAUTION)
    )


def bottles_required(
    bank: Bank,
    charged: GaugePressure,
    minimum: GaugePressure,
    functional_volume: float,
    factors: tuple[float, float],
    functions: Sequence[Function] = (),
) -> BottlesRequired:
    """Return the bottles that give `functional_volume`, m³, and how the sequence fares on them.

    `factors` are pressure factor and volume factor; the bank's own count is not used. Raises InputError naming the
    field at fault; ``minimum`` where a bottle gives nothing.
    """
    if not 0 < functional_volume <= MAX_BOTTLE_VOLUME * MAX_COUNT:
        raise InputError(
            "functional_volume", "The volume is not over zero or is absurd.", "Give the closing volumes' sum."
        )
    one = replace(bank, count=1)
    efficiency = volumetric_efficiency(one, charged, minimum, *factors)
    exact, bottles = _count(one, functional_volume, efficiency.efficiency)
    terms = (_volume(functional_volume), _ratio(efficiency.efficiency), _volume(bank.bottle_volume))
    return BottlesRequired(
        bottles=bottles,
        exact=exact,
        efficiency=efficiency,
        sequence=closing_sequence(replace(bank, count=bottles), charged, functions) if functions else None,
        bottles_for_sequence=_fewest(bank, charged, functions) if functions else None,
        beside=tuple(
            (model, _count_or_none(one, model, charged, minimum, functional_volume, factors)) for model in Model
        ),
        working=(*efficiency.working, Step("Bottles, rounded up", "{0} / ({1} × {2})", terms, _ratio(bottles))),
        cautions=(*efficiency.cautions, SEQUENCE_NOTE),
    )


def best_precharge(bank: Bank, charged: GaugePressure, demands: Sequence[Demand]) -> BestPrecharge:
    """Return the precharge that gives the most usable fluid for the bank and its minimum pressures.

    With one demand that is the most fluid down to its minimum; with several, in their order, the precharge at which
    the tightest one, its fluid and all before it, is covered the most times over. Raises InputError naming
    ``minimum``, ``functions`` or ``charged``.
    """
    merit = _Merit(bank, charged, demands)
    best = merit.point(merit.best())
    beside = tuple((model, _best_or_none(bank, model, charged, demands)) for model in Model)
    step = Step(
        "Best precharge", "{0} usable, the most of the curve", (_volume(best.usable),), _pressure(best.precharge)
    )
    now = merit.point(merit.packing_of(bank.precharge_at_bottle))
    return BestPrecharge(
        best.precharge,
        best.usable,
        best.times_covered,
        now,
        merit.curve(best),
        beside,
        (step,),
        (*_above_minimum(best, demands), PRECHARGE_CAUTION, FAST_CAUTION),
    )


class _Merit:
    """Usable fluid as it depends on how much gas a bottle is given: a straight line up to where it empties first.

    Once charged pressure and minimums are set, the gas's stretch to each minimum is too, whatever the precharge.
    """

    def __init__(self, bank: Bank, charged: GaugePressure, demands: Sequence[Demand]) -> None:
        if not demands:
            raise InputError(
                "minimum", "There is no minimum pressure.", "Give minimum, or functions with their minimums."
            )
        self.bank = bank
        gas = bank.gas(charged)
        self.charged_packing = packing(bank.model, bank.at_bottle(charged), bank.working_temperature, field="charged")
        self.stretches = [
            _stretch(gas.discharge.stretch_at(bank.at_bottle(one.minimum)), one, charged) for one in demands
        ]
        drawn = 0.0
        self.drawn = [drawn := drawn + one.volume for one in demands]

    def packing_of(self, precharge_at_bottle: GaugePressure) -> float:
        return packing(self.bank.model, precharge_at_bottle, self.bank.working_temperature, field="precharge")

    def usable(self, held: float, stretch: float) -> float:
        ratio = held / self.charged_packing
        return self.bank.gas_volume * (min(1.0, ratio * stretch) - min(1.0, ratio))

    def times_covered(self, held: float) -> float:
        return min(self.usable(held, one) / drawn for one, drawn in zip(self.stretches, self.drawn, strict=True))

    def best(self) -> float:
        """Return the packing of the highest point. Each demand's line is a tent, the least of tents has one top."""
        low, high = 0.0, self.charged_packing
        peaks = sorted(self.charged_packing / one for one in self.stretches)
        for peak in peaks:  # a top at a tent's own peak, exactly
            step = peak * 1e-9
            if self.times_covered(peak) >= max(self.times_covered(peak - step), self.times_covered(peak + step)):
                return peak
        while high - low > self.charged_packing * 1e-13:
            left, right = low + (high - low) / 3, high - (high - low) / 3
            low, high = (left, high) if self.times_covered(left) < self.times_covered(right) else (low, right)
        return (low + high) / 2

    def point(self, held: float) -> CurvePoint:
        precharge = precharge_as_counted(self.bank, unpacked(self.bank.model, held, self.bank.working_temperature))
        return CurvePoint(precharge, self.usable(held, self.stretches[-1]), self.times_covered(held))

    def curve(self, best: CurvePoint) -> tuple[CurvePoint, ...]:
        shares = [(index + 1) / (CURVE_POINTS + 1) for index in range(CURVE_POINTS)]
        points = [self.point(self.charged_packing * share) for share in shares]
        return tuple(sorted((*(one for one in points if one.precharge > 0), best), key=lambda one: one.precharge))


def precharge_as_counted(bank: Bank, at_bottle: GaugePressure) -> GaugePressure:
    """Return a gas pressure in the drained bottle at depth as the bank's precharge is counted: the way back."""
    if bank.precharge_basis == "above-hydrostatic":
        return bank.at_surface(at_bottle)
    if bank.sea_temperature is None:
        return at_bottle
    return at_temperature(bank.model, at_bottle, bank.sea_temperature, bank.temperature)


def _stretch(stretch: float, demand: Demand, charged: GaugePressure) -> float:
    if not 0 <= demand.minimum < charged or not stretch > 1:
        raise InputError("minimum", "The minimum is not under the charged pressure.", "Check minimum and charged.")
    if not math.isfinite(stretch):
        raise InputError("minimum", "With a minimum of zero any precharge does.", "Give a minimum over zero.")
    if not demand.volume > 0:
        raise InputError("functions", "A function takes no fluid.", "Give its closing volume.")
    return stretch


def _optimum(bank: Bank, charged: GaugePressure, minimum: GaugePressure, k: float) -> GaugePressure:
    gas = bank.gas(charged)
    full = packing(bank.model, bank.at_bottle(charged), bank.working_temperature, field="charged")
    stretch = gas.discharge.stretch_at(bank.at_bottle(minimum))
    if not math.isfinite(stretch):
        raise InputError("minimum", "The minimum is zero.", "Give the least pressure that still works, over zero.")
    at_minimum = full / stretch
    held = min(at_minimum, 1 / (k / at_minimum - (k - 1) / full)) if k > 1 else at_minimum
    return precharge_as_counted(bank, unpacked(bank.model, held, bank.working_temperature))


def _count(bank: Bank, functional_volume: float, efficiency: float) -> tuple[float, int]:
    if not efficiency > 0:
        raise InputError(
            "minimum", "A bottle gives nothing between these pressures.", "Check precharge, charged, minimum."
        )
    exact = functional_volume / (efficiency * bank.bottle_volume)
    if not exact <= MAX_COUNT:
        raise InputError("functional_volume", "That takes over 10,000 bottles.", "Check volumes and pressures.")
    return exact, max(1, math.ceil(exact - _COUNT_NOISE))


def _count_or_none(
    bank: Bank,
    model: Model,
    charged: GaugePressure,
    minimum: GaugePressure,
    functional_volume: float,
    factors: tuple[float, float],
) -> int | None:
    try:
        other = replace(bank, model=model)
        efficiency = volumetric_efficiency(other, charged, minimum, *factors).efficiency
        return _count(other, functional_volume, efficiency)[1]
    except InputError:
        return None


def _fewest(bank: Bank, charged: GaugePressure, functions: Sequence[Function]) -> int | None:
    """Return the fewest bottles on which the sequence passes; more bottles never do worse, so halve the range."""
    check_functions(functions)
    low, high = 1, MAX_COUNT
    if not final_and_passes(replace(bank, count=high), charged, functions)[1]:
        return None
    while low < high:
        middle = (low + high) // 2
        passes = final_and_passes(replace(bank, count=middle), charged, functions)[1]
        low, high = (low, middle) if passes else (middle + 1, high)
    return low


def _best_or_none(bank: Bank, model: Model, charged: GaugePressure, demands: Sequence[Demand]) -> GaugePressure | None:
    try:
        merit = _Merit(replace(bank, model=model), charged, demands)
        return merit.point(merit.best()).precharge
    except InputError:
        return None


def _above_minimum(best: CurvePoint, demands: Sequence[Demand]) -> tuple[str, ...]:
    if best.precharge <= max(one.minimum for one in demands) * (1 + 1e-9):
        return ()
    return (
        "This precharge is over the minimum pressure: right only for a bank discharged at once, whose gas is cold. "
        "Discharged slowly the bottle is empty before that minimum is reached.",
    )


def _check_factor(field: str, factor: float) -> None:
    if not 1 <= factor <= MAX_FACTOR:
        raise InputError(field, "The factor is not from 1 to 10.", "Take it from the edition that applies to you.")


def _efficiency_step(label: str, fluid: float, volume: float, factor: float, found: float) -> Step:
    return Step(label, "{0} / {1} / factor {2}", (_volume(fluid), _volume(volume), _ratio(factor)), _ratio(found))


def _pressure(si: float) -> Amount:
    return Amount(si, Dimension.PRESSURE)


def _volume(si: float) -> Amount:
    return Amount(si, Dimension.VOLUME)


def _ratio(value: float) -> Amount:
    return Amount(value, Dimension.RATIO)
