"""Banks of accumulator bottles: what they hold, what they can give, what is left after fluid is drawn.

Everything is SI; pressures are gauge at surface, Pa, unless a name says at the bottle; volumes m³; temperatures K.
A bottle's volume is its gas volume at precharge: an 11 gal bladder bottle has 10 gal, since the bladder takes the
rest (common practice). Subsea, a fluid column adds to what the bottle feels: to precharge, charged and minimum
alike as the handbooks do ("Formulas and Calculations for Drilling, Production and Workover", 2nd ed., chapter 2),
or to charged and minimum only, where the precharge is the figure set on deck.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from calcs import nitrogen
from calcs.errors import InputError
from calcs.gas import DEFAULT_TEMPERATURE, ChargedGas, Model, absolute, at_temperature, charged_gas, packing
from calcs.pressures import MAX_DEPTH, SEAWATER_GRADIENT
from calcs.units import STANDARD_ATMOSPHERE, Dimension, GaugePressure, from_si, to_si
from calcs.working import Amount, Step

MAX_BOTTLE_VOLUME: Final = 10.0
"""Largest bottle accepted, m³ (2,640 gal)."""
MAX_COUNT: Final = 10_000
"""Most bottles accepted in one bank."""
MAX_FLUID_GRADIENT: Final = to_si(1, "psi/ft", Dimension.PRESSURE_GRADIENT)
"""Steepest gradient of control fluid or seawater accepted, Pa/m."""

FAST_CAUTION: Final = (
    "Fluid drawn at once leaves the gas cold and gives far less than fluid drawn slowly; the truth lies between "
    "nitrogen discharged at once and cold, and nitrogen settled to its temperature."
)
HAND_CAUTION: Final = (
    "This is the hand sum of the training books, on gauge figures and an ideal gas; "
    "as a rule it promises more than nitrogen gives."
)
COLUMN_CAUTION: Final = (
    "One gradient stands for two columns: the control fluid over the charged pressure and the sea around what is "
    "worked. Where they differ, the minimum is off by the difference times the depth."
)
IDEAL_CAUTION: Final = "An ideal gas at constant temperature as a rule promises more than nitrogen gives."


class PrechargeBasis(StrEnum):
    """What a subsea precharge is counted from."""

    ABOVE_HYDROSTATIC = "above-hydrostatic"
    AS_SET = "as-set"


@dataclass(frozen=True, slots=True)
class Bank:
    """A bank of equal bottles.

    Attributes:
        bottle_volume: gas volume of one bottle at precharge, m³.
        precharge: gauge, Pa; by `precharge_basis` over the fluid column at depth, or as set on deck.
        model: the law the gas follows.
        count: bottles that are open to the bank.
        temperature: of the settled gas, K; of the gas when the precharge was set, where `sea_temperature` is given.
        depth: of the bottles under the surface supply, m; 0 for a surface bank.
        fluid_gradient: of the column that adds to pressures at depth, Pa/m.
        precharge_basis: what the precharge is counted from.
        sea_temperature: of the gas at depth, K, with a precharge as set; None where it stays at `temperature`.
    """

    bottle_volume: float
    precharge: GaugePressure
    model: Model
    count: int = 1
    temperature: float = DEFAULT_TEMPERATURE
    depth: float = 0.0
    fluid_gradient: float = SEAWATER_GRADIENT
    precharge_basis: PrechargeBasis = PrechargeBasis.ABOVE_HYDROSTATIC
    sea_temperature: float | None = None

    def __post_init__(self) -> None:
        """Refuse values outside their range, each by its name."""
        # Every comparison is written so that not-a-number fails too.
        if not 0 < self.bottle_volume <= MAX_BOTTLE_VOLUME:
            raise InputError(
                "bottle_volume", "The bottle volume is not over zero or is absurd.", "Give the gas volume."
            )
        if isinstance(self.count, bool) or not isinstance(self.count, int) or not 1 <= self.count <= MAX_COUNT:
            raise InputError("count", "The count of bottles is not a whole number from 1 to 10,000.", "Count them.")
        if not self.precharge > 0:
            raise InputError(
                "precharge", "The precharge is not over zero.", "Give the gauge pressure of the gas alone."
            )
        nitrogen.checked_temperature(self.temperature)
        if not 0 <= self.depth <= MAX_DEPTH:
            raise InputError("depth", "The depth is under zero or absurd.", "Give the depth of the bottles in ft or m.")
        if not 0 < self.fluid_gradient <= MAX_FLUID_GRADIENT:
            raise InputError(
                "fluid_gradient", "The fluid gradient is not over zero or is absurd.", "Give for instance 0.445 psi/ft."
            )
        if self.sea_temperature is not None:
            self._check_sea()
        nitrogen.checked(absolute(self.precharge), self.temperature, field="precharge")
        nitrogen.checked(absolute(self.precharge_at_bottle), self.working_temperature, field="precharge")

    def _check_sea(self) -> None:
        if self.precharge_basis is not PrechargeBasis.AS_SET:
            raise InputError(
                "sea_temperature",
                "The sea's temperature corrects a precharge as set on deck only.",
                "Give precharge_basis as-set, or give the gas at depth as temperature.",
            )
        nitrogen.checked_temperature(self.sea_temperature or 0.0, field="sea_temperature")

    @property
    def head(self) -> GaugePressure:
        """Return the pressure of the fluid column down to the bottles, Pa."""
        return GaugePressure(self.fluid_gradient * self.depth)

    @property
    def gas_volume(self) -> float:
        """Return the gas volume of the whole bank at precharge, m³."""
        return self.bottle_volume * self.count

    @property
    def working_temperature(self) -> float:
        """Return the temperature of the settled gas where the bottles work, K."""
        return self.temperature if self.sea_temperature is None else self.sea_temperature

    @property
    def precharge_at_bottle(self) -> GaugePressure:
        """Return the gas pressure in the drained bottle where it works, Pa gauge."""
        if self.precharge_basis is PrechargeBasis.ABOVE_HYDROSTATIC:
            return GaugePressure(self.precharge + self.head)
        if self.sea_temperature is None:
            return self.precharge
        return at_temperature(self.model, self.precharge, self.temperature, self.sea_temperature)

    def at_bottle(self, pressure: GaugePressure) -> GaugePressure:
        """Return a pressure on the surface gauge as the bottle feels it."""
        return GaugePressure(pressure + self.head)

    def at_surface(self, pressure: GaugePressure) -> GaugePressure:
        """Return a pressure at the bottle as the surface gauge shows it."""
        return GaugePressure(pressure - self.head)

    def gas(self, charged: GaugePressure) -> ChargedGas:
        """Return the gas charged to `charged` on the surface gauge; raises InputError naming what is at fault."""
        return charged_gas(self.model, self.precharge_at_bottle, self.at_bottle(charged), self.working_temperature)


@dataclass(frozen=True, slots=True)
class Volumes:
    """Gas volumes of one bottle, m³: drained at precharge, charged, and at the minimum pressure."""

    at_precharge: float
    at_charged: float
    at_minimum: float


@dataclass(frozen=True, slots=True)
class Correction:
    """One correction to the hand sum: what it is, and what usable fluid per bottle is after it, m³."""

    name: str
    per_bottle: float
    change: float


@dataclass(frozen=True, slots=True)
class Beside:
    """The same question by one model: usable fluid in m³, or why that model has no answer."""

    model: Model
    per_bottle: float | None
    total: float | None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class UsableVolume:
    """What a bank gives between charged and minimum pressure.

    Attributes:
        per_bottle: usable fluid of one bottle, m³.
        total: of the bank, m³.
        stored: fluid the charged bank holds, m³, usable or not.
        volumes: gas volumes of one bottle.
        emptied: the bottle is empty before the minimum is reached, so that no more can come.
        coldest: gas temperature at the minimum, K; None where that can't be said.
        beside: the same by every model, this one too.
        corrections: from the hand sum to this model, one by one.
        working: every step.
        cautions: what to bear in mind.
    """

    per_bottle: float
    total: float
    stored: float
    volumes: Volumes
    emptied: bool
    coldest: float | None
    beside: tuple[Beside, ...]
    corrections: tuple[Correction, ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PressureAfter:
    """The bank after fluid is drawn.

    Attributes:
        pressure: on the surface gauge, Pa.
        left: fluid still stored, m³.
        most: fluid the charged bank held, m³: the most that could be drawn.
        gas_temperature: of the gas then, K.
        beside: pressure on the surface gauge by every model, Pa; None where that model has no answer.
        working: every step.
        cautions: what to bear in mind.
    """

    pressure: GaugePressure
    left: float
    most: float
    gas_temperature: float
    beside: tuple[tuple[Model, GaugePressure | None], ...]
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def usable_volume(bank: Bank, charged: GaugePressure, minimum: GaugePressure) -> UsableVolume:
    """Return the fluid a bank gives from `charged` down to `minimum`, both on the surface gauge, Pa.

    V = V0·(V(minimum)/V0 − V(charged)/V0) by the bank's model; settled gas gives nothing under its precharge, cold
    gas may. Raises InputError naming ``precharge``, ``charged`` or ``minimum``. Source of the hand sum: "Formulas
    and Calculations for Drilling, Production and Workover", 2nd ed., chapter 2.

    >>> psi, gallon = 6894.757293168361, 0.003785411784
    >>> bank = Bank(10 * gallon, GaugePressure(1000 * psi), Model.BOYLE_GAUGE)
    >>> found = usable_volume(bank, GaugePressure(3000 * psi), GaugePressure(1200 * psi))
    >>> round(found.per_bottle / gallon, 3)
    5.0
    >>> [(one.model.value, round((one.per_bottle or 0) / gallon, 2)) for one in found.beside][3]
    ('nitrogen-isentropic', 2.32)
    """
    gas, ratio = _gas_and_ratio(bank, charged, minimum)
    volumes = Volumes(bank.bottle_volume, bank.bottle_volume * gas.charged_ratio, bank.bottle_volume * ratio)
    per_bottle = volumes.at_minimum - volumes.at_charged
    beside = tuple(_beside(bank, model, charged, minimum) for model in Model)
    return UsableVolume(
        per_bottle=per_bottle,
        total=per_bottle * bank.count,
        stored=bank.gas_volume * gas.stored_ratio,
        volumes=volumes,
        emptied=ratio >= 1.0,
        coldest=_temperature_or_none(gas, ratio),
        beside=beside,
        corrections=_corrections(bank, charged, minimum, beside),
        working=(*_conditions(bank, charged, minimum), *_volume_steps(bank, volumes)),
        cautions=_cautions(bank, emptied=ratio >= 1.0),
    )


def pressure_after(bank: Bank, charged: GaugePressure, withdrawn: float) -> PressureAfter:
    """Return the bank's pressure once `withdrawn`, m³ in all, is drawn from it charged to `charged`, Pa.

    Raises InputError naming ``withdrawn`` when that is under zero or more than the bank holds, saying how much it
    can give: the formula alone would answer with a false pressure under the precharge.
    """
    gas = bank.gas(charged)
    most = bank.gas_volume * gas.stored_ratio
    check_withdrawn(withdrawn, most)
    ratio = min(1.0, gas.charged_ratio + withdrawn / bank.gas_volume)
    pressure = bank.at_surface(gas.pressure_at(ratio))
    return PressureAfter(
        pressure=pressure,
        left=max(0.0, most - withdrawn),
        most=most,
        gas_temperature=gas.temperature_at(ratio),
        beside=tuple((model, _pressure_or_none(bank, model, charged, withdrawn)) for model in Model),
        working=(*_conditions(bank, charged, None), *_after_steps(bank, gas, withdrawn, pressure)),
        cautions=_cautions(bank, emptied=False),
    )


def precharge_at_temperature(model: Model, precharge: GaugePressure, settled: float, later: float) -> GaugePressure:
    """Return a precharge, Pa gauge, read with the gas at `settled` K, once its gas is at `later` K.

    At constant density: real nitrogen, or by either of Boyle's models an ideal gas in absolute pressures. Raises
    InputError naming ``precharge``, ``from`` or ``to``.

    >>> psi, fahrenheit = 6894.757293168361, lambda degrees: (degrees + 459.67) / 1.8
    >>> cold, warm = fahrenheit(40), fahrenheit(80)
    >>> precharge = GaugePressure(4700 * psi)
    >>> round(precharge_at_temperature(Model.NITROGEN_ISOTHERMAL, precharge, cold, warm) / psi)
    5305
    """
    if not precharge > 0:
        raise InputError("precharge", "The precharge is not over zero.", "Give the gauge pressure of the gas alone.")
    nitrogen.checked_temperature(settled, field="from")
    nitrogen.checked_temperature(later, field="to")
    nitrogen.checked(absolute(precharge), settled, field="precharge")
    return at_temperature(model, precharge, settled, later)


def check_withdrawn(withdrawn: float, most: float) -> None:
    """Refuse a withdrawal, m³, under zero or over `most`, the fluid stored; raises InputError naming ``withdrawn``."""
    if not withdrawn >= 0:
        raise InputError("withdrawn", "The volume withdrawn is under zero.", "Give the fluid that left the bank.")
    if withdrawn > most * (1 + 1e-12):
        raise InputError(
            "withdrawn",
            f"The bank does not hold that much: charged so, it can give {volume_words(most)} at most.",
            "Give less, or check bottles, precharge and charged pressure.",
        )


def volume_words(volume: float) -> str:
    """Return a volume, m³, in both units of the trade, for messages that can't know the reader's.

    >>> volume_words(0.01)
    '2.642 gal (10 L)'
    """
    return f"{from_si(volume, 'gal', Dimension.VOLUME):.4g} gal ({from_si(volume, 'L', Dimension.VOLUME):.4g} L)"


def _gas_and_ratio(bank: Bank, charged: GaugePressure, minimum: GaugePressure) -> tuple[ChargedGas, float]:
    if not minimum >= 0:
        raise InputError("minimum", "The minimum pressure is under zero.", "Give the least pressure that still works.")
    if minimum > charged:
        raise InputError(
            "minimum", "The minimum is over the charged pressure.", "Give a lower minimum, or check charged."
        )
    gas = bank.gas(charged)
    return gas, gas.volume_ratio(bank.at_bottle(minimum))


def _beside(bank: Bank, model: Model, charged: GaugePressure, minimum: GaugePressure) -> Beside:
    try:
        gas, ratio = _gas_and_ratio(replace(bank, model=model), charged, minimum)
    except InputError as error:
        return Beside(model, None, None, str(error))
    per_bottle = bank.bottle_volume * (ratio - gas.charged_ratio)
    return Beside(model, per_bottle, per_bottle * bank.count)


_LADDER: Final = (
    (Model.BOYLE_GAUGE, "The hand sum on gauge figures"),
    (Model.BOYLE, "Absolute pressures"),
    (Model.NITROGEN_ISOTHERMAL, "Real nitrogen instead of an ideal gas"),
    (Model.NITROGEN_ISENTROPIC, "Cold of a discharge at once"),
)


def _corrections(
    bank: Bank, charged: GaugePressure, minimum: GaugePressure, beside: tuple[Beside, ...]
) -> tuple[Correction, ...]:
    """Climb from the hand sum to the bank's model; a rung whose model has no answer is passed over."""
    found: list[Correction] = []
    if bank.depth:
        at_surface = replace(bank, depth=0.0, sea_temperature=None)
        _climb(
            found, "The hand sum on gauge figures, at surface", _beside(at_surface, Model.BOYLE_GAUGE, charged, minimum)
        )
    by_model = {one.model: one for one in beside}
    for model, name in _LADDER:
        words = "The fluid column over the bottles" if found and model is Model.BOYLE_GAUGE else name
        _climb(found, words, by_model[model])
        if model is bank.model:
            break
    return tuple(found)


def _climb(found: list[Correction], name: str, rung: Beside) -> None:
    if rung.per_bottle is not None:
        change = rung.per_bottle - found[-1].per_bottle if found else 0.0
        found.append(Correction(name, rung.per_bottle, change))


def _temperature_or_none(gas: ChargedGas, ratio: float) -> float | None:
    try:
        return gas.temperature_at(ratio)
    except InputError:
        return None


def _pressure_or_none(bank: Bank, model: Model, charged: GaugePressure, withdrawn: float) -> GaugePressure | None:
    try:
        gas = replace(bank, model=model).gas(charged)
        return bank.at_surface(gas.pressure_at(gas.charged_ratio + withdrawn / bank.gas_volume))
    except InputError:
        return None


def _cautions(bank: Bank, *, emptied: bool) -> tuple[str, ...]:
    by_model = {Model.BOYLE: IDEAL_CAUTION, Model.BOYLE_GAUGE: HAND_CAUTION}
    found = [by_model[bank.model]] if bank.model in by_model else []
    if bank.depth:
        found.append(COLUMN_CAUTION)
    if emptied:
        found.append("The bottle is empty before the minimum is reached: the precharge limits it, not the minimum.")
    return (*found, FAST_CAUTION)


def _conditions(bank: Bank, charged: GaugePressure, minimum: GaugePressure | None) -> tuple[Step, ...]:
    """Return the steps from the figures given to the pressures the bottle feels."""
    steps: list[Step] = []
    if bank.depth:
        terms = (Amount(bank.fluid_gradient, Dimension.PRESSURE_GRADIENT), Amount(bank.depth, Dimension.LENGTH))
        steps.append(Step("Fluid column", "{0} × {1}", terms, _pressure(bank.head)))
    steps.append(_precharge_step(bank))
    given = [("Charged", charged)] + ([] if minimum is None else [("Minimum", minimum)])
    steps += [_felt_step(bank, name, pressure) for name, pressure in given]
    if bank.model.is_real:
        steps += [
            _density_step(bank, name, pressure)
            for name, pressure in (("precharge", bank.precharge_at_bottle), ("charged", bank.at_bottle(charged)))
        ]
    return tuple(steps)


def _precharge_step(bank: Bank) -> Step:
    label, result = "Precharge at the bottle, gauge", _pressure(bank.precharge_at_bottle)
    if bank.sea_temperature is not None:
        terms = (_pressure(bank.precharge), _temperature(bank.temperature), _temperature(bank.sea_temperature))
        return Step(label, "{0} as set at {1}, at constant density at {2}", terms, result)
    if bank.depth and bank.precharge_basis is PrechargeBasis.ABOVE_HYDROSTATIC:
        return Step(label, "{0} + {1} column", (_pressure(bank.precharge), _pressure(bank.head)), result)
    return Step(label, "", (), result)


def _felt_step(bank: Bank, name: str, pressure: GaugePressure) -> Step:
    at_bottle, on_gauge = bank.at_bottle(pressure), bank.model is Model.BOYLE_GAUGE
    added = [(_pressure(bank.head), "{} column")] if bank.depth else []
    if not on_gauge:
        added.append((_pressure(STANDARD_ATMOSPHERE), "{} atmosphere"))
    label = f"{name} at the bottle, {'gauge' if on_gauge else 'absolute'}"
    result = _pressure(at_bottle if on_gauge else absolute(at_bottle))
    if not added:
        return Step(label, "", (), result)
    how = " + ".join(["{0}", *(words.format(f"{{{place}}}") for place, (_, words) in enumerate(added, 1))])
    return Step(label, how, (_pressure(pressure), *(amount for amount, _ in added)), result)


def _density_step(bank: Bank, name: str, pressure: GaugePressure) -> Step:
    density = packing(Model.NITROGEN_ISOTHERMAL, pressure, bank.working_temperature)
    terms = (_pressure(absolute(pressure)), _temperature(bank.working_temperature))
    return Step(f"Nitrogen's density at {name}", "at {0} absolute and {1}", terms, Amount(density, Dimension.DENSITY))


_LAWS: Final = {
    Model.BOYLE: "{0} × precharge / {1} pressure, absolute",
    Model.BOYLE_GAUGE: "{0} × precharge / {1} pressure, gauge",
    Model.NITROGEN_ISOTHERMAL: "{0} × density at precharge / density at {1} pressure and the same temperature",
    Model.NITROGEN_ISENTROPIC: "{0} × density at precharge / density at {1} pressure and the charged gas's entropy",
}


def _volume_steps(bank: Bank, volumes: Volumes) -> tuple[Step, ...]:
    charged, minimum, drained = (_volume(one) for one in (volumes.at_charged, volumes.at_minimum, volumes.at_precharge))
    settled = Model.NITROGEN_ISOTHERMAL if bank.model is Model.NITROGEN_ISENTROPIC else bank.model
    emptied = volumes.at_minimum >= volumes.at_precharge
    at_minimum = "the whole bottle, {0}: its fluid is gone first" if emptied else _named(_LAWS[bank.model], "minimum")
    usable = volumes.at_minimum - volumes.at_charged
    return (
        Step("Gas volume charged", _named(_LAWS[settled], "charged"), (drained,), charged),
        Step("Gas volume at minimum", at_minimum, (drained,), minimum),
        Step("Usable fluid per bottle", "{0} − {1}", (minimum, charged), _volume(usable)),
        Step("Usable fluid of the bank", f"{bank.count} × {{0}}", (_volume(usable),), _volume(usable * bank.count)),
    )


_EXPANDS: Final = {
    Model.BOYLE: "absolute pressure × volume kept",
    Model.BOYLE_GAUGE: "gauge pressure × volume kept",
    Model.NITROGEN_ISOTHERMAL: "temperature kept",
    Model.NITROGEN_ISENTROPIC: "entropy kept",
}


def _after_steps(bank: Bank, gas: ChargedGas, withdrawn: float, pressure: GaugePressure) -> tuple[Step, ...]:
    charged = _volume(bank.gas_volume * gas.charged_ratio)
    after = _volume(bank.gas_volume * gas.charged_ratio + withdrawn)
    settled = Model.NITROGEN_ISOTHERMAL if bank.model is Model.NITROGEN_ISENTROPIC else bank.model
    how = f"gas of {{0}} at {{1}} expands to {{2}}, {_EXPANDS[bank.model]}"
    at_bottle = _pressure(bank.at_bottle(pressure))
    steps: tuple[Step, ...] = (
        Step("Gas volume charged", _named(_LAWS[settled], "charged"), (_volume(bank.gas_volume),), charged),
        Step("Gas volume after", "{0} + {1}", (charged, _volume(withdrawn)), after),
        Step("Pressure after, at the bottle", how, (charged, _pressure(gas.charged), after), at_bottle),
    )
    if not bank.depth:
        return steps
    column = Step(
        "Pressure after, at surface", "{0} − {1} column", (at_bottle, _pressure(bank.head)), _pressure(pressure)
    )
    return (*steps, column)


def _named(law: str, condition: str) -> str:
    """Put the condition into a law, leaving the place of the amount."""
    return law.replace("{1}", condition)


def _pressure(si: float) -> Amount:
    return Amount(si, Dimension.PRESSURE)


def _volume(si: float) -> Amount:
    return Amount(si, Dimension.VOLUME)


def _temperature(si: float) -> Amount:
    return Amount(si, Dimension.TEMPERATURE)
