"""Published rules on accumulators and pumps in words of our own: what each asks."""

from collections.abc import Iterator
from typing import Final

from calcs.bank_rules import (
    AbovePrecharge,
    DrawdownRule,
    FinalPart,
    MinimumOperating,
    Movement,
    PrechargeRule,
    Pumps,
    PumpSettingRule,
    RechargeRule,
    ResponseRule,
)
from calcs.rule_words import formula_words
from calcs.rules import BankRule
from calcs.units import Dimension, from_si
from calcs.working import Amount

_PUMP_WORDS: Final = {Pumps.ALL: "With every pump", Pumps.ONE_OUT: "With one pump or power system out"}
_MOVEMENT_WORDS: Final = {Movement.CLOSE: "Closes", Movement.OPEN: "Opens", Movement.NONE: "Opens and closes"}


def asked_words(rule: BankRule) -> Iterator[tuple[str, str]]:
    """Give what a rule asks, each figure with what it is about.

    >>> from calcs.rules import Confidence
    >>> recharge = RechargeRule(id="r", clause="c", title="t", confidence=Confidence.READ, pumps=Pumps.ALL, within=900)
    >>> list(asked_words(recharge))
    [('Charging', 'With every pump from precharge to rated pressure within 15 min')]
    """
    match rule:
        case DrawdownRule():
            yield "Final pressure", _final_words(rule.final)
            if rule.functions:
                yield "Functions", rule.functions.removesuffix(".")
        case RechargeRule():
            yield (
                "Charging",
                f"{_PUMP_WORDS[rule.pumps]} from precharge to rated pressure within {rule.within / 60:g} min",
            )
        case PrechargeRule():
            yield "Precharge", f"Within {_psi(rule.tolerance)} of the design, at the same gas temperature"
        case ResponseRule():
            yield "Time", _response_words(rule)
        case PumpSettingRule():
            yield "Settings", _setting_words(rule)


def _final_words(parts: tuple[FinalPart, ...]) -> str:
    words = [_part_words(part) for part in parts]
    if len(words) == 1:
        return f"At least {words[0]}"
    return f"At least the {'greater' if len(words) == 2 else 'greatest'} of {', '.join(words[:-1])} and {words[-1]}"


def _part_words(part: FinalPart) -> str:
    match part:
        case AbovePrecharge(margin):
            return f"{_psi(margin)} over the precharge"
        case MinimumOperating():
            return "the minimum operating pressure"
        case _:
            return formula_words(part)


def _response_words(rule: ResponseRule) -> str:
    limits = [f"within {rule.within:g} s"] if rule.within is not None else []
    limits += ["no slower than the fastest ram timed in the same test"] if rule.as_fast_as_rams else []
    bore = []
    if rule.bore_from is not None:
        bore.append(f"from {_inches(rule.bore_from)} of bore")
    if rule.bore_under is not None:
        bore.append(f"under {_inches(rule.bore_under)} of bore")
    return f"{' '.join([_MOVEMENT_WORDS[rule.movement], *limits])}{', ' if bore else ''}{' and '.join(bore)}"


def _setting_words(rule: PumpSettingRule) -> str:
    asked = []
    if rule.starts_at_least is not None:
        asked.append(f"starts before the pressure has fallen to {rule.starts_at_least * 100:g} % of rated")
    if rule.stops_between is not None:
        low, high = rule.stops_between
        asked.append(f"stops at {low * 100:g} to {high * 100:g} % of rated")
    if rule.air_supply is not None:
        asked.append(f"does so on air of {_psi(rule.air_supply)}")
    words = ", ".join(asked)
    return f"{words[:1].upper()}{words[1:]}"


def _psi(pressure: float) -> str:
    return Amount(pressure, Dimension.PRESSURE).text("us")


def _inches(bore: float) -> str:
    return f"{from_si(bore, 'in', Dimension.LENGTH):g} in"
