"""The drawdown test read backwards: from pressures after fluid drawn, what gas the bank holds.

Everything is SI: pressures gauge, Pa; volumes m³; temperatures K. Settled gas obeys ρ·V = constant, so fluid Vr
drawn between two states is Vr = m(v2 − v1), with m the gas of the whole bank; the precharge is the pressure of that
gas filling the bottles alone. In Boyle's form: P0 = (Vr/Vt)·Pf·Ps/(Ps − Pf) ("Formulas and Calculations for
Drilling, Production and Workover", 2nd ed., chapter 2).

Only the product of precharge and gas volume lies in such a curve: bottles shut off and a low precharge in all
draw the same line. They part where bottles run empty and the curve kinks (`calcs.drawdown_diagnosis`), or by a gauge
put on the bottles.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from calcs.accumulators import MAX_BOTTLE_VOLUME, MAX_COUNT
from calcs.drawdown_diagnosis import Kink, LackOfFit, find_kink, lack_of_fit
from calcs.drawdown_fit import Fitted, fit, interval
from calcs.errors import InputError
from calcs.gas import DEFAULT_TEMPERATURE, Discharge, Model, absolute, discharge, packing, unpacked
from calcs.gas_curves import Array, Curve, curve
from calcs.pressures import MAX_PRESSURE
from calcs.units import GaugePressure

FEWEST_POINTS: Final = 3
MOST_POINTS: Final = 1_000
MAX_BANK_VOLUME: Final = MAX_BOTTLE_VOLUME * MAX_COUNT
_FLOOR: Final = 0.5
"""Share of the lowest reading that curves are drawn down to."""
_LOST: Final = 1e-9
_SPARE: Final = 0.05


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its 95 % interval; `high` is None where the readings set no upper limit."""

    value: float
    low: float
    high: float | None


@dataclass(frozen=True, slots=True)
class Nameplate:
    """What the papers say of a bank.

    Attributes:
        bottle_volume: gas volume of one bottle at precharge, m³.
        count: bottles.
        precharge: gauge, Pa, at the temperature of the test.
    """

    bottle_volume: float
    count: int
    precharge: GaugePressure

    def __post_init__(self) -> None:
        """Refuse what no bank has."""
        if not 0 < self.bottle_volume <= MAX_BOTTLE_VOLUME:
            raise InputError(
                "nameplate.bottle_volume",
                "The bottle's volume is not over zero or is absurdly large.",
                "Give the gas volume of one bottle, for instance 10 gal.",
            )
        if isinstance(self.count, bool) or not isinstance(self.count, int) or not 1 <= self.count <= MAX_COUNT:
            raise InputError(
                "nameplate.count", f"The count of bottles is not a whole number from 1 to {MAX_COUNT:,}.", "Count them."
            )
        if not 0 < self.precharge <= MAX_PRESSURE:
            raise InputError(
                "nameplate.precharge",
                "The precharge is not over zero or is absurdly high.",
                "Give the gauge pressure of the gas alone, for instance 1000 psi.",
            )


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading: fluid drawn since the start, m³, and the pressure then, Pa gauge."""

    withdrawn: float
    pressure: GaugePressure


@dataclass(frozen=True, slots=True)
class DrawdownTest:
    """Readings of a drawdown in order, with what they are held against.

    Attributes:
        points: the first with nothing drawn; all read in the same state of the gas, settled or at once.
        nameplate: what the papers say.
        model: the law the gas is taken to follow.
        temperature: of the gas when charged, K.
        accuracy: scatter of one pressure reading as one standard deviation, Pa; None takes it from the residuals.
    """

    points: tuple[Reading, ...]
    nameplate: Nameplate
    model: Model
    temperature: float = DEFAULT_TEMPERATURE
    accuracy: float | None = None

    def __post_init__(self) -> None:
        """Refuse readings that are no drawdown, naming the one at fault."""
        if not FEWEST_POINTS <= len(self.points) <= MOST_POINTS:
            raise InputError(
                "points",
                f"{len(self.points)} readings can't be fitted.",
                f"Give {FEWEST_POINTS} to {MOST_POINTS:,}: the start and at least two more; two readings leave "
                "nothing over to tell how sure the answer is.",
            )
        if self.accuracy is not None and not 0 < self.accuracy <= MAX_PRESSURE:
            raise InputError(
                "pressure_accuracy",
                "The accuracy is not over zero.",
                "Give the scatter of one reading, or leave it out.",
            )
        for index, point in enumerate(self.points):
            _check_alone(index, point)
        _check_order(self.points, self.accuracy or 0.0)
        start = self.points[0].pressure
        packing(self.model, start, self.temperature, field="points.0.pressure")
        if self.nameplate.precharge >= start:
            raise InputError(
                "nameplate.precharge",
                "The precharge is not under the start pressure.",
                "A drawdown starts from a charged bank: check both figures.",
            )


@dataclass(frozen=True, slots=True)
class KinkReading:
    """What a kink says of the bottles that ran empty there.

    Attributes:
        after_point: number of the last reading before it, from 0.
        precharge: theirs, gauge, Pa.
        bottles: how many they are.
        all_emptied: whether none was left feeding the bank.
    """

    after_point: int
    precharge: Estimate
    bottles: Estimate
    all_emptied: bool


@dataclass(frozen=True, slots=True)
class ModelReading:
    """What the same readings come to by one model: gas over nameplate, and the scatter about its curve, Pa."""

    model: Model
    gas_charge_ratio: float
    scatter: float


@dataclass(frozen=True, slots=True)
class DrawdownFit:
    """What a drawdown says about a bank.

    Attributes:
        test: the readings.
        gas_charge_ratio: fitted gas over the nameplate's.
        precharge_if_all_bottles: gauge, Pa, if every bottle takes part.
        bottles_if_precharge_right: if the nameplate's precharge stands in each.
        kink: where bottles ran empty, if the readings show it; only then do the two causes part.
        below_nameplate: whether the gas took up more room than the nameplate's bottles offer at their precharge,
            with fluid still coming.
        predicted: pressures on the fitted curve at the points fitted, gauge, Pa.
        nominal: pressures the nameplate promises after each withdrawal; None where its fluid is gone.
        residuals: readings less predicted.
        scatter: of a reading about the curve, Pa.
        lack_of_fit: how points lie off the curve, or None.
        by_model: the same readings by each model.
    """

    test: DrawdownTest
    gas_charge_ratio: Estimate
    precharge_if_all_bottles: Estimate
    bottles_if_precharge_right: Estimate
    kink: KinkReading | None
    below_nameplate: bool
    predicted: tuple[float, ...]
    nominal: tuple[float | None, ...]
    residuals: tuple[float, ...]
    scatter: float
    lack_of_fit: LackOfFit | None
    by_model: tuple[ModelReading, ...]

    @property
    def told_apart(self) -> bool:
        """Tell whether the readings part bottles lost from precharge lost."""
        return self.kink is not None


@dataclass(frozen=True, slots=True)
class PrechargeFound:
    """An average precharge from one drawdown.

    Attributes:
        model: the law it is worked by.
        precharge: gauge, Pa.
        by_model: what each model makes of the same two readings; None where they can't both be true by it.
    """

    model: Model
    precharge: GaugePressure
    by_model: tuple[tuple[Model, GaugePressure | None], ...]


def precharge_from_drawdown(
    total_volume: float,
    start: GaugePressure,
    end: GaugePressure,
    withdrawn: float,
    model: Model = Model.BOYLE_GAUGE,
    temperature: float = DEFAULT_TEMPERATURE,
) -> PrechargeFound:
    """Return the average precharge of a bank, gauge, from one drawdown with no pump running.

    Args:
        total_volume: Vt, gas volume of all bottles at precharge, m³; not their size by name.
        start: Ps, settled, gauge.
        end: Pf, gauge; read after the gas has warmed back but for the isentropic model, where it is read at once.
        withdrawn: Vr, m³.
        model: the handbook's sum on gauge figures unless another is asked for.
        temperature: of the settled gas, K.

    Raises InputError naming the value at fault. Source: P0 = (Vr/Vt)·Pf·Ps/(Ps − Pf), "Formulas and Calculations
    for Drilling, Production and Workover", 2nd ed., chapter 2; for real gas the same with densities.

    >>> psi, gal = 6894.757293168361, 0.003785411784
    >>> found = precharge_from_drawdown(180 * gal, GaugePressure(3000 * psi), GaugePressure(2200 * psi), 20 * gal)
    >>> round(found.precharge / psi)
    917
    """
    if not 0 < total_volume <= MAX_BANK_VOLUME:
        raise InputError("total_volume", "The volume is not over zero or is absurdly large.", "Give it in gal or L.")
    if not 0 < withdrawn < total_volume:
        raise InputError(
            "withdrawn", "The fluid drawn is not between zero and the volume of the bottles.", "Check both volumes."
        )
    if not end > 0:
        raise InputError("end", "The end pressure is not over zero.", "Give the gauge pressure after the drawdown.")
    if not end < start:
        raise InputError("end", "The pressure does not fall from start to end.", "Give an end under the start.")
    asked = (total_volume, start, end, withdrawn)
    precharge = _precharge(*asked, model, temperature)
    others = ((each, _precharge_or_none(*asked, each, temperature)) for each in Model)
    return PrechargeFound(model, precharge, tuple(others))


def fit_drawdown(test: DrawdownTest) -> DrawdownFit:
    """Return what the readings of a drawdown say about its bank.

    The interval takes the volumes as exact: 5 % in the closing volumes is 5 % in the gas. Raises InputError where
    readings fall so low that nitrogen discharged at once would turn liquid.

    >>> psi, gal = 6894.757293168361, 0.003785411784
    >>> readings = [(0, 3000), (20, 2001.6), (30, 1715.1), (40, 1500.0)]
    >>> points = tuple(Reading(volume * gal, GaugePressure(at * psi)) for volume, at in readings)
    >>> found = fit_drawdown(DrawdownTest(points, Nameplate(10 * gal, 12, GaugePressure(1000 * psi)), Model.BOYLE))
    >>> round(found.bottles_if_precharge_right.value, 2)
    12.0
    """
    law, volumes, pressures = _drawn(test, test.model)
    kink = find_kink(law, volumes, pressures, test.accuracy)
    reading = None if kink is None else _kink_reading(test, kink)
    kept = len(volumes) if kink is None or reading is None else kink.kept
    _refuse_liquid(law, pressures[:kept])
    fitted = fit(law, volumes[None, :kept], pressures[None, :kept])
    _refuse_unfit(fitted)
    lack = lack_of_fit(fitted, volumes[:kept], test.accuracy)
    ratio = _ratio(test, fitted, _widening(fitted, test.accuracy, lack))
    furthest = math.exp(float(fitted.start[0])) + volumes[kept - 1] / float(fitted.gas[0])
    held = packing(test.model, test.nameplate.precharge, test.temperature)
    return DrawdownFit(
        test,
        ratio,
        _mapped(ratio, lambda share: unpacked(test.model, held * share, test.temperature)),
        _mapped(ratio, lambda share: test.nameplate.count * share),
        reading,
        reading is None and held * furthest > 1,
        tuple((fitted.predicted[0] - _offset(test.model)).tolist()),
        nominal_pressures(test),
        tuple(fitted.residuals[0].tolist()),
        float(fitted.scatter[0]),
        lack,
        tuple(_by_model(test, kept, law)),
    )


def nominal_pressures(test: DrawdownTest) -> tuple[float | None, ...]:
    """Return the gauge pressures, Pa, a bank as its nameplate says would show; None where its fluid is gone."""
    start, plate = test.points[0].pressure, test.nameplate
    room = plate.count * plate.bottle_volume
    begun = packing(test.model, plate.precharge, test.temperature) / packing(test.model, start, test.temperature)
    law = discharge(test.model, start, test.temperature)
    found: list[float | None] = []
    for point in test.points:
        taken = begun + point.withdrawn / room
        found.append(_pressure_or_none(law, taken / begun) if taken <= 1 + _LOST else None)
    return tuple(found)


def _pressure_or_none(law: Discharge, stretch: float) -> float | None:
    """Return the gauge pressure at a stretch; None where the gas would be liquid by then."""
    try:
        return law.pressure_at(stretch)
    except InputError:
        return None


def _check_alone(index: int, point: Reading) -> None:
    where = f"points.{index}"
    # Written so that not-a-number fails too.
    if not 0 <= point.withdrawn <= MAX_BANK_VOLUME:
        raise InputError(
            f"{where}.withdrawn", "The volume drawn is under zero or absurdly large.", "Give what left the bank so far."
        )
    if not 0 <= point.pressure <= MAX_PRESSURE:
        raise InputError(
            f"{where}.pressure", "The pressure is under zero or absurdly high.", "Give the gauge pressure as read."
        )


def _check_order(points: Sequence[Reading], slack: float) -> None:
    if points[0].withdrawn != 0:
        raise InputError(
            "points.0.withdrawn",
            "At the first reading something is drawn already.",
            "Begin with 0: the start pressure.",
        )
    for index, (before, after) in enumerate(pairwise(points), start=1):
        if after.withdrawn <= before.withdrawn:
            raise InputError(
                f"points.{index}.withdrawn",
                "No more is drawn than at the reading before.",
                "Give the total drawn since the start, growing from reading to reading.",
            )
        if after.pressure > before.pressure + slack:
            raise InputError(
                f"points.{index}.pressure",
                "The pressure rises while fluid is drawn: a pump ran, or the gas warmed up between two readings.",
                "Isolate every pump, and read all points in one state: all at once, or all settled.",
            )
    if not points[-1].pressure < points[0].pressure:
        raise InputError(
            f"points.{len(points) - 1}.pressure", "The pressure does not fall.", "Check that the bank was drawn on."
        )


def _precharge(
    total: float, start: GaugePressure, end: GaugePressure, withdrawn: float, model: Model, temperature: float
) -> GaugePressure:
    squeezed = packing(model, start, temperature, field="start")
    # m = Vr/(v2 − v1) with v2 = stretch·v1, and the bottles full of it hold m/Vt.
    stretch = discharge(model, start, temperature).stretch_at(end, field="end")
    held = withdrawn * squeezed / (stretch - 1) / total
    if held * stretch > squeezed * (1 + _LOST):
        raise InputError(
            "withdrawn",
            "The bank can't have given that much for so small a fall: its gas would fill more than the bottles.",
            "Check the volumes, that no pump ran, and that no other bank was open.",
        )
    return unpacked(model, held, temperature)


def _precharge_or_none(
    total: float, start: GaugePressure, end: GaugePressure, withdrawn: float, model: Model, temperature: float
) -> GaugePressure | None:
    try:
        return _precharge(total, start, end, withdrawn, model, temperature)
    except InputError:
        return None


def _offset(model: Model) -> float:
    """Return what turns a gauge pressure into the figures of the model, Pa."""
    return 0.0 if model is Model.BOYLE_GAUGE else float(absolute(GaugePressure(0.0)))


def _drawn(test: DrawdownTest, model: Model, law: Curve | None = None) -> tuple[Curve, Array, Array]:
    """Return the law, drawn unless it is given, the volumes, and the pressures in the figures of `model`."""
    volumes = np.array([point.withdrawn for point in test.points])
    gauges = np.array([float(point.pressure) for point in test.points])
    if law is None:
        law = curve(model, test.points[0].pressure, GaugePressure(float(gauges.min()) * _FLOOR), test.temperature)
    return law, volumes, gauges + _offset(model)


def _refuse_liquid(law: Curve, pressures: Array) -> None:
    under = np.flatnonzero(pressures < law.lowest * (1 - 1e-6))
    if under.size:
        raise InputError(
            f"points.{int(under[0])}.pressure",
            "Discharged that far at once, the nitrogen would grow so cold that it begins to turn liquid.",
            "Leave the readings so low out, or judge settled readings with the model nitrogen-isothermal.",
        )


def _refuse_unfit(fitted: Fitted) -> None:
    if not all(math.isfinite(float(figure[0])) for figure in (fitted.gas, fitted.start, fitted.spread)):
        raise InputError(
            "points", "No charge of gas draws a curve near these readings.", "Check volumes, pressures and their units."
        )


def _widening(fitted: Fitted, accuracy: float | None, lack: LackOfFit | None) -> float:
    """Return what the interval is widened by: with a stated accuracy that the readings belie, by as much as they do.

    The ratio of Birge: an interval from an accuracy the residuals don't bear out would promise too much.
    """
    if accuracy is None or lack is None:
        return 1.0
    return max(1.0, float(fitted.scatter[0]) / accuracy)


def _ratio(test: DrawdownTest, fitted: Fitted, widening: float) -> Estimate:
    low, high = (float(each[0]) for each in interval(fitted, test.accuracy, widening))
    nameplate = _nameplate_gas(test, test.model)
    return Estimate(
        float(fitted.gas[0]) / nameplate, low / nameplate, high / nameplate if math.isfinite(high) else None
    )


def _nameplate_gas(test: DrawdownTest, model: Model) -> float:
    plate = test.nameplate
    held = packing(model, plate.precharge, test.temperature, field="nameplate.precharge")
    return held * plate.bottle_volume * plate.count


def _mapped(estimate: Estimate, to: Callable[[float], float]) -> Estimate:
    high = None if estimate.high is None else to(estimate.high)
    return Estimate(to(estimate.value), to(estimate.low), high)


def _kink_reading(test: DrawdownTest, kink: Kink) -> KinkReading | None:
    """Return what a kink says, or None where more bottles than there are would have to run empty there."""
    best, least, most = kink.unit_volume
    precharges = (unpacked(test.model, 1 / each, test.temperature) for each in (best, most, least))
    bottles = [
        gas * volume / test.nameplate.bottle_volume
        for gas, volume in zip(kink.emptied, (best, least, most), strict=True)
    ]
    if bottles[1] > test.nameplate.count * (1 + _SPARE):
        return None
    high = bottles[2] if math.isfinite(bottles[2]) else None
    return KinkReading(kink.kept - 1, Estimate(*precharges), Estimate(bottles[0], bottles[1], high), kink.all_emptied)


def _by_model(test: DrawdownTest, kept: int, own: Curve) -> Iterator[ModelReading]:
    for model in Model:
        law, volumes, pressures = _drawn(test, model, own if model is test.model else None)
        if np.any(pressures[:kept] < law.lowest * (1 - 1e-6)):
            continue
        fitted = fit(law, volumes[None, :kept], pressures[None, :kept])
        ratio = float(fitted.gas[0]) / _nameplate_gas(test, model)
        yield ModelReading(model, ratio, float(fitted.scatter[0]))
