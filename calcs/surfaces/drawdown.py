"""The surfaces ``precharge-from-drawdown`` and ``drawdown-fit``: a drawdown test read backwards."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calcs import drawdown, drawdown_words
from calcs.drawdown import DrawdownFit, DrawdownTest, Estimate, KinkReading, Nameplate, PrechargeFound, Reading
from calcs.errors import InputError
from calcs.fields import Fields, quoted
from calcs.gas import DEFAULT_TEMPERATURE, Model
from calcs.rules import Edition
from calcs.surfaces.answers import quantity, quantity_or_none, trimmed
from calcs.units import Dimension, GaugePressure, System

_MODELS = tuple(model.value for model in Model)


@dataclass(frozen=True, slots=True)
class PrechargeQuestion:
    """What ``precharge-from-drawdown`` was asked."""

    total_volume: float
    start: GaugePressure
    end: GaugePressure
    withdrawn: float
    model: Model
    temperature: float


def parse_precharge(fields: Fields, _: Sequence[Edition]) -> PrechargeQuestion:
    """Read one drawdown: the bottles' gas volume, the pressures before and after, what was drawn."""
    return PrechargeQuestion(
        fields.si("total_volume", Dimension.VOLUME),
        GaugePressure(fields.si("start", Dimension.PRESSURE)),
        GaugePressure(fields.si("end", Dimension.PRESSURE)),
        fields.si("withdrawn", Dimension.VOLUME),
        Model(fields.choice("model", _MODELS, Model.BOYLE_GAUGE.value)),
        _temperature(fields),
    )


def compute_precharge(asked: PrechargeQuestion) -> PrechargeFound:
    """Answer the question."""
    return drawdown.precharge_from_drawdown(
        asked.total_volume, asked.start, asked.end, asked.withdrawn, asked.model, asked.temperature
    )


def format_precharge(found: PrechargeFound, system: System) -> dict[str, Any]:
    """Write the precharge, what each model makes of the same readings, and how far to trust it."""
    return {
        "precharge": quantity(found.precharge, Dimension.PRESSURE, system),
        "model": found.model.value,
        "model_in_words": found.model.words,
        "by_model": {
            model.value: quantity_or_none(precharge, Dimension.PRESSURE, system) for model, precharge in found.by_model
        },
        "remarks": drawdown_words.remarks(found, system),
    }


def parse_fit(fields: Fields, _: Sequence[Edition]) -> DrawdownTest:
    """Read the readings in order, the nameplate and the model."""
    points = tuple(
        Reading(point.si("withdrawn", Dimension.VOLUME), GaugePressure(point.si("pressure", Dimension.PRESSURE)))
        for point in fields.objects("points")
    )
    nameplate = _nameplate(fields.object("nameplate"))
    model = Model(fields.choice("model", _MODELS))
    accuracy = fields.si_or_none("pressure_accuracy", Dimension.PRESSURE)
    return DrawdownTest(points, nameplate, model, _temperature(fields), accuracy)


def compute_fit(asked: DrawdownTest) -> DrawdownFit:
    """Fit the readings."""
    return drawdown.fit_drawdown(asked)


def format_fit(found: DrawdownFit, system: System) -> dict[str, Any]:
    """Write the bank's gas with its interval, what it may mean, and how the readings lie about their curve."""
    lack = found.lack_of_fit
    return {
        "model": found.test.model.value,
        "verdict": drawdown_words.verdict(found),
        "explanation": drawdown_words.explanation(found, system),
        "gas_charge_ratio": _plain(found.gas_charge_ratio),
        "precharge_if_all_bottles": _pressures(found.precharge_if_all_bottles, system),
        "bottles_if_precharge_right": _plain(found.bottles_if_precharge_right),
        "told_apart": found.told_apart,
        "kink": None if found.kink is None else _kink(found.kink, system),
        "residuals": _for_each_point(found, found.residuals, system),
        "predicted": _for_each_point(found, found.predicted, system),
        "nameplate_pressures": [quantity_or_none(each, Dimension.PRESSURE, system) for each in found.nominal],
        "scatter": quantity(found.scatter, Dimension.PRESSURE, system),
        "lack_of_fit": None
        if lack is None
        else {
            "pattern": lack.pattern.value,
            "from_point": lack.point,
            "explanation": drawdown_words.lack_in_words(lack),
        },
        "warnings": drawdown_words.warnings(found),
        "by_model": {
            reading.model.value: {
                "gas_charge_ratio": trimmed(reading.gas_charge_ratio),
                "scatter": quantity(reading.scatter, Dimension.PRESSURE, system),
            }
            for reading in found.by_model
        },
    }


def _for_each_point(found: DrawdownFit, fitted: Sequence[float], system: System) -> list[dict[str, Any] | None]:
    """Return pressures one a reading; None for readings past a kink, which no curve was fitted to."""
    past = [None] * (len(found.test.points) - len(fitted))
    return [quantity_or_none(pressure, Dimension.PRESSURE, system) for pressure in (*fitted, *past)]


def _temperature(fields: Fields) -> float:
    return fields.si("temperature", Dimension.TEMPERATURE) if fields.has("temperature") else DEFAULT_TEMPERATURE


def _nameplate(fields: Fields) -> Nameplate:
    count = fields.any("count")
    whole = isinstance(count, int | float) and not isinstance(count, bool) and count == count // 1
    if not whole:
        raise InputError(fields.path("count"), f"{quoted(count)} is not a count of bottles.", "Give a whole number.")
    return Nameplate(
        fields.si("bottle_volume", Dimension.VOLUME),
        int(count),
        GaugePressure(fields.si("precharge", Dimension.PRESSURE)),
    )


def _plain(estimate: Estimate) -> dict[str, Any]:
    return {
        "value": trimmed(estimate.value),
        "low": trimmed(estimate.low),
        "high": None if estimate.high is None else trimmed(estimate.high),
    }


def _pressures(estimate: Estimate, system: System) -> dict[str, Any]:
    value = quantity(estimate.value, Dimension.PRESSURE, system)
    high = None if estimate.high is None else quantity(estimate.high, Dimension.PRESSURE, system)["value"]
    low = quantity(estimate.low, Dimension.PRESSURE, system)["value"]
    return {"value": value["value"], "low": low, "high": high, "unit": value["unit"]}


def _kink(kink: KinkReading, system: System) -> dict[str, Any]:
    return {
        "after_point": kink.after_point,
        "precharge": _pressures(kink.precharge, system),
        "bottles": _plain(kink.bottles),
        "all_emptied": kink.all_emptied,
    }
