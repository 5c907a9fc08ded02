"""The answers of the accumulator calculations, as the calculation page shows them: every gas law beside the others."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from tests_app.web.bank_fields import MODEL_TITLES
from tests_app.web.calculator_base import CalculationForm
from tests_app.web.calculator_drawdown_form import DrawdownFitForm
from tests_app.web.calculator_plots import fit_rows

Shown = Mapping[str, Any]
_GOVERNS: Final = {
    "pressure": "Pressure governs: the minimum pressure is reached before the fluid is spent.",
    "volume": "Volume governs: the fluid is spent before the minimum pressure is reached.",
}


def _by_model(found: Mapping[str, Any], key: str) -> list[dict[str, Any]]:
    """Return a row for each gas law, from the hand sum on; in words where a law has no answer."""
    rows = []
    for model, title in MODEL_TITLES.items():
        one = found[model.value] or {}
        quantity = one.get(key) if key else found[model.value]
        reason = one.get("reason") or "no answer for these figures"
        rows.append({"title": title, "words": model.words, "quantity": quantity, "reason": reason})
    return rows


def usable_volume(found: Shown, _: CalculationForm) -> Shown:
    """Show the fluid, and what each correction takes off the hand sum."""
    corrections = [(one["name"], one["per_bottle"]) for one in found["corrections"]]
    return {
        "figures": [("A bottle gives", found["per_bottle"]), ("The bank gives", found["total"])],
        "models": _by_model(found["beside"], "per_bottle"),
        "models_of": "a bottle gives",
        "facts": corrections,
        "working": found["working"],
        "notes": found["cautions"],
    }


def pressure_after(found: Shown, _: CalculationForm) -> Shown:
    """Show the pressure and what is left."""
    return {
        "figures": [("Pressure after", found["pressure"]), ("Fluid left", found["left"])],
        "models": _by_model(found["beside"], "pressure"),
        "models_of": "pressure after",
        "working": found["working"],
        "notes": found["cautions"],
    }


def closing_sequence(found: Shown, _: CalculationForm) -> Shown:
    """Show the verdict, the pressure after each function and the final pressure by every law."""
    return {"sequence": found, **_sequence_models(found), "working": found["working"], "notes": found["cautions"]}


def _sequence_models(found: Shown) -> dict[str, Any]:
    rows = _by_model(found["beside"], "final_pressure")
    for row, model in zip(rows, MODEL_TITLES, strict=True):
        row["passes"] = found["beside"][model.value]["passes"]
        row["reason"] = "out of fluid"
    return {"models": rows, "models_of": "final pressure", "models_judged": True}


def bottles_required(found: Shown, _: CalculationForm) -> Shown:
    """Show the count, the limit that governs, and how the sequence fares on so many bottles."""
    rows = [
        {"title": title, "words": model.words, "text": found["beside"][model.value]["bottles"], "reason": "no answer"}
        for model, title in MODEL_TITLES.items()
    ]
    fewest = found["bottles_for_sequence"]
    words = _GOVERNS[found["governs"]]
    if found["sequence"]:
        needed = f"needs {fewest:,} bottles" if fewest else "passes on no number of bottles"
        words += f" Closed in its order, the sequence {needed}."
    return {
        "counts": [("Bottles", found["bottles"]), ("Volumetric efficiency", f"{found['volumetric_efficiency']:.3f}")],
        "words": words,
        "facts": [("Optimum precharge", found["optimum_precharge"])],
        "sequence": found["sequence"],
        "sequence_of": f"The sequence on {found['bottles']:,} bottles",
        "models": rows,
        "models_of": "bottles",
        "working": found["working"],
        "notes": found["cautions"],
    }


def volumetric_efficiency(found: Shown, _: CalculationForm) -> Shown:
    """Show the efficiency, both limits and which governs."""
    return {
        "counts": [("Volumetric efficiency", f"{found['volumetric_efficiency']:.3f}")],
        "words": _GOVERNS[found["governs"]],
        "texts": [
            ("Limited by pressure", f"{found['pressure_limited']:.3f}"),
            ("Limited by volume", f"{found['volume_limited']:.3f}"),
        ],
        "facts": [("Optimum precharge", found["optimum_precharge"])],
        "working": found["working"],
        "notes": found["cautions"],
    }


def best_precharge(found: Shown, _: CalculationForm) -> Shown:
    """Show the precharge, what it gives beside today's, the curve, and what the other laws would say."""
    now = found["now"]
    facts = [("With the precharge now", now["usable"])] if now else []
    covers = found["times_covered"]
    words = f"It gives the functions’ fluid {covers:.2f} times over." if covers is not None else ""
    return {
        "figures": [("Best precharge", found["precharge"]), ("Usable fluid of the bank", found["usable"])],
        "words": words,
        "models": _by_model(found["beside"], "precharge"),
        "models_of": "best precharge",
        "facts": facts,
        "curve": found["curve"],
        "working": found["working"],
        "notes": found["cautions"],
    }


def drawdown_fit(found: Shown, form: CalculationForm) -> Shown:
    """Show what the drawdown says in a sentence, the gas with its interval, and every reading beside its curve."""
    assert isinstance(form, DrawdownFitForm)
    count = form.cleaned_data["count"]
    pressure = found["precharge_if_all_bottles"]
    ratio, bottles = found["gas_charge_ratio"], found["bottles_if_precharge_right"]
    laws = [
        {
            "title": title,
            "words": model.words,
            "text": f"{found['by_model'][model.value]['gas_charge_ratio'] * 100:.1f} %",
        }
        if model.value in found["by_model"]
        else {"title": title, "words": model.words, "reason": "fits no charge to these readings"}
        for model, title in MODEL_TITLES.items()
    ]
    return {
        "counts": [("Gas against nameplate", _share(ratio["value"]))],
        "words": found["explanation"],
        "texts": [
            ("95 % interval", f"{_share(ratio['low'])} to {_share(ratio['high'])}"),
            (f"If all {count} bottles are open", f"precharge {_interval(pressure, 0)} {pressure['unit']}"),
            ("If the precharge is right", f"{_interval(bottles, 1)} bottles of {count}"),
            ("Bottles and precharge told apart", "yes, by the kink of the curve" if found["told_apart"] else "no"),
        ],
        "fit": fit_rows(found, form),
        "models": laws,
        "models_of": "gas against nameplate",
        "notes": found["warnings"],
    }


def _share(value: float | None) -> str:
    return "no upper limit" if value is None else f"{value * 100:.1f} %"


def _interval(estimate: Shown, places: int) -> str:
    high = "no upper limit" if estimate["high"] is None else f"{estimate['high']:,.{places}f}"
    return f"{estimate['value']:,.{places}f} ({estimate['low']:,.{places}f} to {high})"


def precharge_at_temperature(found: Shown, _: CalculationForm) -> Shown:
    """Show the precharge, the real and the ideal one."""
    return {
        "figures": [("Precharge then", found["precharge"])],
        "facts": [
            ("By real nitrogen", found["beside"]["real"]),
            ("By an ideal gas", found["beside"]["ideal"]),
            ("Change", found["change"]),
        ],
        "working": found["working"],
        "notes": found["cautions"],
    }


def precharge_from_drawdown(found: Shown, _: CalculationForm) -> Shown:
    """Show the precharge, and what every law makes of the same readings."""
    return {
        "figures": [("Average precharge", found["precharge"])],
        "models": _by_model(found["by_model"], ""),
        "models_of": "precharge",
        "notes": found["remarks"],
    }


def closing_pressure(found: Shown, _: CalculationForm) -> Shown:
    """Show the pressure to close, and to shear where there is pipe."""
    figures = [("To close and hold", found["pressure"])]
    words, facts = "", []
    if "shear" in found:
        shear = found["shear"]
        figures.append(("To shear", shear["pressure"]))
        facts = [("Shear force, estimated", shear["force_estimate"])]
        facts += [("Shear pressure, estimated", shear["pressure_estimate"])]
        words = (
            "The pressure to shear is an estimate: the maker's tested pressure prevails."
            if shear["is_estimate"]
            else "The pressure to shear rests on the maker's test."
        )
    return {
        "figures": figures,
        "words": words,
        "facts": facts,
        "working": found["working"],
        "notes": found["cautions"],
    }


BANK_ANSWERS: Final[Mapping[str, Callable[[Shown, CalculationForm], Shown]]] = {
    "usable-volume": usable_volume,
    "pressure-after": pressure_after,
    "closing-sequence": closing_sequence,
    "bottles-required": bottles_required,
    "volumetric-efficiency": volumetric_efficiency,
    "best-precharge": best_precharge,
    "drawdown-fit": drawdown_fit,
    "precharge-at-temperature": precharge_at_temperature,
    "precharge-from-drawdown": precharge_from_drawdown,
    "closing-pressure": closing_pressure,
}
