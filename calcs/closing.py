"""Closing on the bank alone: a sequence of functions, and the pressure an operator needs.

Everything is SI; pressures gauge at surface, Pa; volumes m³. The 200 psi kept over the precharge is the clause of
superseded US federal text (30 CFR 250, before 2016) that the trade still goes by; the order of functions matters,
since an early function may need more pressure than the last ("Energy Science & Engineering", 2018, doi
10.1002/ese3.203, abstract).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from calcs.accumulators import FAST_CAUTION, Bank
from calcs.errors import InputError
from calcs.gas import ChargedGas, Model
from calcs.pressures import MAX_PRESSURE
from calcs.units import Dimension, GaugePressure, to_si
from calcs.working import Amount, Step

DEFAULT_RESERVE: Final = GaugePressure(to_si(200, "psi", Dimension.PRESSURE))
"""Pressure kept over the precharge at the end, 200 psi in Pa."""
MAX_FUNCTIONS: Final = 200
"""Most functions accepted in one sequence."""
MAX_FUNCTION_VOLUME: Final = 100.0
"""Largest volume of one function accepted, m³."""
MAX_CLOSING_RATIO: Final = 100.0
MAX_STRENGTH: Final = 2e9
"""Highest yield strength accepted, Pa (290 ksi)."""
DISTORTION_ENERGY: Final = 1 / math.sqrt(3)
"""Shear yield over tensile yield by the distortion-energy (von Mises) criterion, 0.577."""

NO_FRICTION: Final = GaugePressure(0.0)

# Below the exactness of any gauge; only so that a limit met to the last digit counts as met.
_ROUNDING: Final = 1.0


@dataclass(frozen=True, slots=True)
class Function:
    """One function of the sequence: its closing volume, m³, and the least bank pressure it works with, Pa gauge."""

    name: str
    volume: float
    minimum_pressure: GaugePressure | None = None

    def __post_init__(self) -> None:
        """Refuse values outside their range."""
        if not 0 < self.volume <= MAX_FUNCTION_VOLUME:
            raise InputError(
                "volume", "The closing volume is not over zero or is absurd.", "Give the volume to CLOSE, not to open."
            )
        if self.minimum_pressure is not None and not 0 <= self.minimum_pressure <= MAX_PRESSURE:
            raise InputError("minimum_pressure", "The minimum pressure is under zero or absurd.", "Check the unit.")


@dataclass(frozen=True, slots=True)
class SequenceStep:
    """The bank after one function.

    Attributes:
        name: of the function.
        volume: it took, m³.
        pressure: after it, Pa gauge at surface; None where the bank is out of fluid.
        usable_left: fluid left down to the reserve over precharge, m³.
        stored_left: fluid left at all, m³.
        minimum_pressure: the function's own, or None.
        met: whether it had its fluid, and its minimum pressure where it has one.
        gas_temperature: K; None where the bank is out of fluid.
    """

    name: str
    volume: float
    pressure: GaugePressure | None
    usable_left: float
    stored_left: float
    minimum_pressure: GaugePressure | None
    met: bool
    gas_temperature: float | None


@dataclass(frozen=True, slots=True)
class ClosingSequence:
    """A sequence worked on the bank alone.

    Attributes:
        steps: the bank after each function, in order.
        final_pressure: Pa gauge at surface; None where the fluid ran out.
        limit: precharge and reserve, as the surface gauge shows it, Pa.
        margin: final pressure over the limit, Pa; None where the fluid ran out.
        passes: every function met and the limit kept.
        reasons: why not, in words; empty when it passes.
        beside: (model, final pressure or None, passes) by every model.
        working: every step.
        cautions: what to bear in mind.
    """

    steps: tuple[SequenceStep, ...]
    final_pressure: GaugePressure | None
    limit: GaugePressure
    margin: float | None
    passes: bool
    reasons: tuple[str, ...]
    beside: tuple[tuple[Model, GaugePressure | None, bool], ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


SEQUENCE_CAUTION: Final = (
    "The reserve is counted from the precharge given. Give the one measured, and check first that it is in tolerance: "
    "a low precharge makes this limit easier to keep."
)
SHEAR_CAUTION: Final = (
    "An estimate only: the pressure the maker's shear test found prevails. The sum takes plain round pipe at its "
    "stated yield; real pipe is stronger than its grade's minimum, tough pipe shears harder, and tool joints, upsets, "
    "collars and pipe off centre or pushed up are outside it."
)
CLOSING_CAUTION: Final = (
    "A balance of forces: friction and the squeeze of the packers come on top and are the maker's to tell. Many "
    "annulars are helped by wellbore pressure and have no closing ratio: use the maker's chart. In the sea, wellbore "
    "pressure is the difference to the sea outside."
)


@dataclass(frozen=True, slots=True)
class Shear:
    """Pipe to be sheared, and what its maker found.

    Attributes:
        outside_diameter: of the pipe body, m.
        inside_diameter: m; 0 for a solid bar.
        yield_strength: Pa; the mill's or the grade's highest, not its minimum.
        closing_area: of the pistons that drive the ram, booster with them, m².
        tested_pressure: closing pressure at which the maker's test sheared this pipe with no wellbore pressure, Pa,
            if known; its own friction is in it.
    """

    outside_diameter: float
    inside_diameter: float
    yield_strength: float
    closing_area: float
    tested_pressure: GaugePressure | None = None

    def __post_init__(self) -> None:
        """Refuse values outside their range."""
        if not 0 < self.outside_diameter <= 2:
            raise InputError("pipe_od", "The outside diameter is not over zero or is absurd.", "Give it in in or mm.")
        if not 0 <= self.inside_diameter < self.outside_diameter:
            raise InputError("pipe_id", "The inside diameter is not under the outside diameter.", "Check both.")
        if not 0 < self.yield_strength <= MAX_STRENGTH:
            raise InputError(
                "yield_strength", "The yield strength is not over zero or absurd.", "Give it in psi or MPa."
            )
        if not 0 < self.closing_area <= 10:
            raise InputError("closing_area", "The closing area is not over zero or absurd.", "Give it in in^2 or cm^2.")
        if self.tested_pressure is not None and not 0 < self.tested_pressure <= MAX_PRESSURE:
            raise InputError("tested_pressure", "The tested pressure is not over zero or absurd.", "Check its unit.")

    @property
    def area(self) -> float:
        """Return the steel's cross-section, m²."""
        return math.pi / 4 * (self.outside_diameter**2 - self.inside_diameter**2)

    @property
    def force(self) -> float:
        """Return the estimated force to shear, N: yield·area/√3."""
        return self.yield_strength * self.area * DISTORTION_ENERGY


@dataclass(frozen=True, slots=True)
class ClosingPressure:
    """The pressure an operator needs.

    Attributes:
        pressure: to close and hold against the wellbore, Pa.
        shear_force: estimated, N; None without pipe.
        shear_estimate: estimated pressure to shear against the wellbore, Pa; None without pipe.
        shear_pressure: the figure to go by: the maker's tested one with the wellbore's share, else the estimate.
        working: every step.
        cautions: what to bear in mind.
    """

    pressure: GaugePressure
    shear_force: float | None
    shear_estimate: GaugePressure | None
    shear_pressure: GaugePressure | None
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def closing_sequence(
    bank: Bank, charged: GaugePressure, functions: Sequence[Function], reserve: GaugePressure = DEFAULT_RESERVE
) -> ClosingSequence:
    """Return the bank after each of `functions`, worked in that order with no pump.

    A bank that runs out is an answer, not an error: the functions it leaves short are named. Raises InputError
    naming ``functions``, ``reserve``, ``precharge``, ``charged``.
    """
    check_functions(functions)
    if not 0 <= reserve <= MAX_PRESSURE:
        raise InputError("reserve", "The reserve is under zero or absurd.", "Give for instance 200 psi.")
    limit = GaugePressure(bank.at_surface(bank.precharge_at_bottle) + reserve)
    gas = bank.gas(charged)
    steps = _steps(bank, gas, functions, limit)
    final = steps[-1].pressure
    reasons = (*_unmet(steps), *_under_limit(final, limit))
    return ClosingSequence(
        steps=steps,
        final_pressure=final,
        limit=limit,
        margin=None if final is None else final - limit,
        passes=not reasons,
        reasons=reasons,
        beside=tuple(_by_model(bank, model, charged, functions, reserve) for model in Model),
        working=_sequence_working(bank, steps, limit, reserve),
        cautions=(SEQUENCE_CAUTION, FAST_CAUTION),
    )


def closing_pressure(
    wellbore_pressure: GaugePressure,
    closing_ratio: float,
    operator_friction: GaugePressure = NO_FRICTION,
    shear: Shear | None = None,
) -> ClosingPressure:
    """Return the pressure to close a ram and hold it closed: wellbore pressure / closing ratio + friction.

    With `shear` also the estimate by distortion energy, F = yield·area/√3 over the closing area, on top of that.
    Raises InputError. Source of the ratio: "Well Control for Completions and Interventions", closing ratio.

    >>> psi = 6894.757293168361
    >>> round(closing_pressure(GaugePressure(10000 * psi), 9.0).pressure / psi)
    1111
    """
    if not 0 <= wellbore_pressure <= MAX_PRESSURE:
        raise InputError("wellbore_pressure", "The wellbore pressure is under zero or absurd.", "Check its unit.")
    if not 1 <= closing_ratio <= MAX_CLOSING_RATIO:
        raise InputError(
            "closing_ratio", "The closing ratio is not from 1 to 100.", "Give the maker's, usually 6 to 9."
        )
    if not 0 <= operator_friction <= MAX_PRESSURE:
        raise InputError("operator_friction", "The friction is under zero or absurd.", "Check its unit.")
    pressure = GaugePressure(wellbore_pressure / closing_ratio + operator_friction)
    terms = (_pressure(wellbore_pressure), Amount(closing_ratio, Dimension.RATIO), _pressure(operator_friction))
    step = Step("Closing pressure", "{0} / {1} + {2} friction", terms, _pressure(pressure))
    if shear is None:
        return ClosingPressure(pressure, None, None, None, (step,), (CLOSING_CAUTION,))
    estimate = GaugePressure(shear.force / shear.closing_area + pressure)
    tested = shear.tested_pressure
    prevails = estimate if tested is None else GaugePressure(tested + wellbore_pressure / closing_ratio)
    steps = (step, *_shear_steps(shear, pressure, estimate, prevails, operator_friction))
    return ClosingPressure(pressure, shear.force, estimate, prevails, steps, (CLOSING_CAUTION, SHEAR_CAUTION))


def check_functions(functions: Sequence[object]) -> None:
    """Refuse no functions and more than anybody works; raises InputError naming ``functions``."""
    if not 1 <= len(functions) <= MAX_FUNCTIONS:
        raise InputError(
            "functions", f"There are no functions, or more than {MAX_FUNCTIONS}.", "List those to be worked."
        )


def _steps(
    bank: Bank, gas: ChargedGas, functions: Sequence[Function], limit: GaugePressure
) -> tuple[SequenceStep, ...]:
    usable = bank.gas_volume * (gas.volume_ratio(bank.at_bottle(limit), field="reserve") - gas.charged_ratio)
    stored = bank.gas_volume * gas.stored_ratio
    drawn, found = 0.0, []
    for function in functions:
        drawn += function.volume
        pressure, temperature = _after(bank, gas, drawn, stored)
        least = function.minimum_pressure
        met = pressure is not None and (least is None or pressure >= least - _ROUNDING)
        left = max(0.0, usable - drawn), max(0.0, stored - drawn)
        found.append(SequenceStep(function.name, function.volume, pressure, *left, least, met, temperature))
    return tuple(found)


def _after(bank: Bank, gas: ChargedGas, drawn: float, stored: float) -> tuple[GaugePressure | None, float | None]:
    if drawn > stored * (1 + 1e-12):
        return None, None
    ratio = min(1.0, gas.charged_ratio + drawn / bank.gas_volume)
    pressure = gas.pressure_at(ratio, field="functions")
    return bank.at_surface(pressure), gas.temperature_at(ratio, field="functions")


def _unmet(steps: Sequence[SequenceStep]) -> tuple[str, ...]:
    found = []
    for step in steps:
        if step.pressure is None:
            found.append(f"{step.name}: the bank is out of fluid before it is closed.")
        elif not step.met and step.minimum_pressure is not None:
            found.append(
                f"{step.name}: {pressure_words(step.pressure)} after it is under the "
                f"{pressure_words(step.minimum_pressure)} it needs."
            )
    return tuple(found)


def _under_limit(final: GaugePressure | None, limit: GaugePressure) -> tuple[str, ...]:
    if final is None or final >= limit - _ROUNDING:
        return ()
    return (f"The final pressure {pressure_words(final)} is under precharge and reserve, {pressure_words(limit)}.",)


def pressure_words(pressure: float) -> str:
    """Return a pressure, Pa, in both units of the trade, for reasons that can't know the reader's.

    >>> pressure_words(20684271.9)
    '3,000 psi (20,684 kPa)'
    """
    psi = pressure / to_si(1, "psi", Dimension.PRESSURE)
    return f"{psi:,.0f} psi ({pressure / 1000:,.0f} kPa)"


def final_and_passes(
    bank: Bank, charged: GaugePressure, functions: Sequence[Function], reserve: GaugePressure = DEFAULT_RESERVE
) -> tuple[GaugePressure | None, bool]:
    """Return the final pressure, Pa gauge, None where fluid ran out, and whether the sequence passes; no more."""
    limit = GaugePressure(bank.at_surface(bank.precharge_at_bottle) + reserve)
    steps = _steps(bank, bank.gas(charged), functions, limit)
    final = steps[-1].pressure
    return final, not (*_unmet(steps), *_under_limit(final, limit))


def _by_model(
    bank: Bank, model: Model, charged: GaugePressure, functions: Sequence[Function], reserve: GaugePressure
) -> tuple[Model, GaugePressure | None, bool]:
    try:
        return model, *final_and_passes(replace(bank, model=model), charged, functions, reserve)
    except InputError:
        return model, None, False


def _sequence_working(
    bank: Bank, steps: Sequence[SequenceStep], limit: GaugePressure, reserve: GaugePressure
) -> tuple[Step, ...]:
    precharge = bank.at_surface(bank.precharge_at_bottle)
    found, drawn = (
        [Step("Limit", "{0} precharge + {1}", (_pressure(precharge), _pressure(reserve)), _pressure(limit))],
        0.0,
    )
    for step in steps:
        before, drawn = drawn, drawn + step.volume
        terms = (_volume(before), _volume(step.volume))
        if step.pressure is None:
            found.append(Step(f"Drawn with {step.name}, more than is stored", "{0} + {1}", terms, _volume(drawn)))
        else:
            label = f"Bank pressure after {step.name}"
            found.append(Step(label, "{0} + {1} drawn", terms, _pressure(step.pressure)))
    return tuple(found)


def _shear_steps(
    shear: Shear,
    pressure: GaugePressure,
    estimate: GaugePressure,
    prevails: GaugePressure,
    friction: GaugePressure,
) -> tuple[Step, ...]:
    outside, inside = (Amount(one, Dimension.LENGTH) for one in (shear.outside_diameter, shear.inside_diameter))
    area, force = Amount(shear.area, Dimension.AREA), Amount(shear.force, Dimension.FORCE)
    closing = Amount(shear.closing_area, Dimension.AREA)
    steps: tuple[Step, ...] = (
        Step("Steel to shear", "π/4 × (({0})² − ({1})²)", (outside, inside), area),
        Step("Shear force, estimate", "0.577 × {0} × {1}", (_pressure(shear.yield_strength), area), force),
        Step("Shear pressure, estimate", "{0} / {1} + {2}", (force, closing, _pressure(pressure)), _pressure(estimate)),
    )
    if shear.tested_pressure is None:
        return steps
    terms = (_pressure(shear.tested_pressure), _pressure(pressure - friction))
    return (
        *steps,
        Step(
            "Shear pressure by the maker's test, which prevails",
            "{0} + {1} for the wellbore",
            terms,
            _pressure(prevails),
        ),
    )


def _pressure(si: float) -> Amount:
    return Amount(si, Dimension.PRESSURE)


def _volume(si: float) -> Amount:
    return Amount(si, Dimension.VOLUME)
