"""What a drawdown says, in plain sentences; figures in the reader's own units."""

from typing import Final

from calcs.drawdown import DrawdownFit, Estimate, KinkReading, PrechargeFound
from calcs.drawdown_diagnosis import LackOfFit, Pattern
from calcs.gas import Model
from calcs.units import Dimension, System
from calcs.working import Amount

NEGLIGIBLE: Final = 0.01
"""Share of the gas too small to call a fault: closing volumes are seldom known better (common practice)."""
_ONE_BOTTLE: Final = 1.0

VOLUMES_ARE_TAKEN_AS_EXACT: Final = (
    "The interval covers the scatter of the pressures alone and takes the volumes as exact: closing volumes 5 % off "
    "are 5 % in the gas."
)
ACCURACY_IS_ONE_DEVIATION: Final = (
    "The stated accuracy is taken as the scatter of one reading, one standard deviation; for a maker's limit of plus "
    "or minus so much, state it divided by the root of three (JCGM 100, rectangular distribution)."
)
ONLY_THE_PRODUCT: Final = (
    "These readings fix only the product of precharge and gas volume: bottles shut off and a low precharge in all of "
    "them draw the same curve."
)
WHAT_WOULD_SETTLE_IT: Final = (
    "A gauge on each bottle would settle it, or a bleed-down, with the rig safe for it, to below the precharge: where "
    "the pressure drops away the precharge is read, and with it the bottles are counted."
)
_PATTERNS: Final = {
    Pattern.FALLS_FASTER: (
        "The later readings fall faster than one charge of gas explains: a leak or a bypassing valve, gas growing "
        "colder from step to step, or bottles running empty."
    ),
    Pattern.FALLS_SLOWER: (
        "The later readings fall more slowly than one charge of gas explains: a pump running, gas re-warming between "
        "readings, or nitrogen read as an ideal gas."
    ),
    Pattern.STEP_DOWN: (
        "From reading {0} on the pressures lie lower than before: fluid left there that was not counted, by a leak or "
        "a larger closing volume."
    ),
    Pattern.STEP_UP: (
        "From reading {0} on the pressures lie higher than before: a pump ran, the gas warmed during a wait, or less "
        "fluid was used there than counted."
    ),
    Pattern.SCATTER: (
        "The readings scatter more than the stated accuracy allows, without a pattern: check the gauge and that all "
        "were read in one state of the gas. The interval is widened accordingly."
    ),
}


def verdict(found: DrawdownFit) -> str:
    """Return ``as-nameplate``, ``charge-low`` or ``charge-high``, at 95 % and by more than a hundredth."""
    ratio = found.gas_charge_ratio
    if ratio.high is not None and ratio.high < 1 - NEGLIGIBLE:
        return "charge-low"
    return "charge-high" if ratio.low > 1 + NEGLIGIBLE else "as-nameplate"


def sees_one_bottle(found: DrawdownFit) -> bool:
    """Tell whether the interval is narrow enough that one bottle shut off would have shown."""
    ratio = found.gas_charge_ratio
    return ratio.high is not None and (ratio.high - ratio.low) / 2 < 1 / found.test.nameplate.count


def explanation(found: DrawdownFit, system: System) -> str:
    """Return what the fit says about the bank, beginning with the verdict.

    Whoever reads only the first sentence must not be misled: a count of bottles is never given without the
    precharge that draws the same curve.
    """
    said = [_verdict_in_words(found, system)]
    if not sees_one_bottle(found):
        count = found.test.nameplate.count
        said.append(
            f"But the readings are too few or too rough: one bottle of {count}, {_percent(1 / count)} of the gas, "
            "would not show in this test."
        )
    if found.kink is not None:
        said.append(_kink_in_words(found, found.kink, system))
    else:
        if found.below_nameplate:
            said.append(
                "Fluid still came when the gas of the nameplate would have filled its bottles: some hold less "
                "precharge than the nameplate, or more bottles take part."
            )
        said += [ONLY_THE_PRODUCT, WHAT_WOULD_SETTLE_IT]
    return " ".join(said)


def beside_gauges(found: DrawdownFit, read: float, bottles: int) -> str:
    """Return how the fit stands to the precharge read by gauge on every bottle before the test.

    A curve alone can't part bottles shut off from a low precharge; the gauges, where all of them were read, do. `read`
    is the gas they come to in the `bottles` in service, over the nameplate's.
    """
    ratio = found.gas_charge_ratio
    said = (
        f"The precharge read before the test on the {bottles} bottles in service comes to {_percent(read)} of the "
        "nameplate's gas"
    )
    if ratio.high is not None and ratio.high < read - NEGLIGIBLE:
        silent = bottles * (1 - ratio.value / read)
        return (
            f"{said}, more than the drawdown shows: it is as if {silent:.1f} of them gave nothing. They are shut off "
            "or have lost their gas since, or more fluid left the bank than was counted: look at every bottle's valve."
        )
    if ratio.low > read + NEGLIGIBLE:
        return (
            f"{said}, less than the drawdown shows: a pump ran, other accumulators were open to the bank, or less "
            "fluid left it than was counted."
        )
    return f"{said}: the drawdown {'bears that out' if sees_one_bottle(found) else 'does not speak against it'}."


def warnings(found: DrawdownFit) -> list[str]:
    """Return what to mind before the figure is believed."""
    said = []
    if found.lack_of_fit is not None:
        said.append(lack_in_words(found.lack_of_fit))
    said += _of_the_model(found)
    if found.test.accuracy is not None:
        said.append(ACCURACY_IS_ONE_DEVIATION)
    return [*said, VOLUMES_ARE_TAKEN_AS_EXACT]


def lack_in_words(lack: LackOfFit) -> str:
    """Return the pattern in words; readings are counted from 1, as a person counts them."""
    return _PATTERNS[lack.pattern].format("" if lack.point is None else lack.point + 1)


def remarks(found: PrechargeFound, system: System) -> list[str]:
    """Return how far the figure may lie from the truth, by what other laws make of the same two readings."""
    by_model = dict(found.by_model)
    said = []
    if found.model is Model.BOYLE_GAUGE:
        said.append("A hand sum on gauge figures and an ideal gas, as the training books do it.")
    if not found.model.is_real:
        settled, cold = by_model[Model.NITROGEN_ISOTHERMAL], by_model[Model.NITROGEN_ISENTROPIC]
        if settled is not None:
            said.append(
                "Real nitrogen, warmed back before it was read, would have had "
                f"{_pressure(settled, system)}: {_compared(found.precharge, settled)}."
            )
        said.append(
            f"Read at once, while the gas was cold, the same gauge would mean {_pressure(cold, system)}."
            if cold is not None
            else "Read at once, while the gas was cold, the two readings can't both be true: the bank gave more "
            "than it could hold."
        )
    said.append("It is an average over all bottles and takes each of them to be open, and no fluid to have leaked.")
    return said


def _verdict_in_words(found: DrawdownFit, system: System) -> str:
    ratio, count = found.gas_charge_ratio, found.test.nameplate.count
    share = f"{_percent(ratio.value)} of the nameplate's gas ({_span(ratio)})"
    bottles = found.bottles_if_precharge_right
    same_as = (
        f"the same as {bottles.value:.1f} bottles of {count} at the nameplate's precharge, or all {count} at "
        f"{_pressure(found.precharge_if_all_bottles.value, system)}"
    )
    match verdict(found):
        case "charge-low":
            return (
                f"Charge low: the bank behaves as if it held {share}, {same_as}. "
                "Bottles are shut off or have lost their gas, or the precharge is low."
            )
        case "charge-high":
            return (
                f"Charge high: the bank behaves as if it held {share}, {same_as}. The precharge is high, more bottles "
                "or other accumulators are open to it, a pump ran, or less fluid was used than counted."
            )
        case _:
            return f"As nameplate: the readings show {share}, no evidence of a fault."


def _kink_in_words(found: DrawdownFit, kink: KinkReading, system: System) -> str:
    whose = "every bottle that takes part" if kink.all_emptied else "a group of bottles"
    low, high = kink.bottles.low, kink.bottles.high
    between = f"{low:.1f} to {high:.1f}" if high is not None else f"at least {low:.1f}"
    precharge = kink.precharge
    upper = precharge.value if precharge.high is None else precharge.high
    said = (
        f"After reading {kink.after_point + 1} the curve kinks: {whose} ran empty between "
        f"{_pressure(precharge.low, system)} and {_pressure(upper, system)}, which is their precharge, or its average "
        f"if they differ. That parts bottles from precharge: {kink.bottles.value:.1f} bottles ({between}) of "
        f"{found.test.nameplate.count} emptied there, unless a line or valve let go at that moment."
    )
    if high is None or high - low > _ONE_BOTTLE:
        said += " Smaller steps about that pressure would count them to the bottle."
    return said


def _of_the_model(found: DrawdownFit) -> list[str]:
    """Return what the chosen law may hide, with the figure the other laws give."""
    by_model = {reading.model: reading.gas_charge_ratio for reading in found.by_model}
    count = found.test.nameplate.count
    said = []
    settled = by_model.get(Model.NITROGEN_ISOTHERMAL)
    if not found.test.model.is_real and settled is not None:
        said.append(
            f"Fitted as an ideal gas; nitrogen is none. As settled nitrogen the same readings mean "
            f"{settled * count:.1f} bottles of {count}, not {found.bottles_if_precharge_right.value:.1f}."
        )
    cold = by_model.get(Model.NITROGEN_ISENTROPIC)
    if found.test.model is not Model.NITROGEN_ISENTROPIC and cold is not None:
        said.append(
            f"Right only for settled gas. Had it been read at once, while the gas was cold, it would mean "
            f"{cold * count:.1f} bottles: know the state of the gas before counting bottles."
        )
    if found.test.model is Model.NITROGEN_ISENTROPIC and settled is not None:
        said.append(
            f"Right only for readings at once after a fast draw. Had the gas warmed back before they were taken, they "
            f"would mean {settled * count:.1f} bottles: know the state of the gas before counting bottles."
        )
    return said


def _compared(ideal: float, settled: float) -> str:
    if abs(ideal / settled - 1) < NEGLIGIBLE:
        return "close to the ideal gas here"
    return f"the ideal gas reads {'low on a healthy bank' if ideal < settled else 'high, and hides a low precharge'}"


def _span(estimate: Estimate) -> str:
    if estimate.high is None:
        return f"95 % interval from {_percent(estimate.low)} with no upper limit"
    return f"95 % interval {_percent(estimate.low)} to {_percent(estimate.high)}"


def _percent(share: float) -> str:
    return f"{share * 100:.1f} %"


def _pressure(si: float, system: System) -> str:
    quantity = Amount(si, Dimension.PRESSURE).text(system)
    number, _, unit = quantity.partition(" ")
    return f"{float(number.replace(',', '')):,.0f} {unit}"
