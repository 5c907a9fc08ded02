"""Reading the rules on accumulators and pumps from data: a closed vocabulary, unknown keys refused by their path."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from calcs.bank_rules import (
    AbovePrecharge,
    ChargeState,
    DrawdownRule,
    FinalPart,
    MinimumOperating,
    Movement,
    PrechargeRule,
    PumpDrive,
    PumpDuty,
    Pumps,
    PumpSettingRule,
    RechargeRule,
    ResponseRule,
    refuse_rivals,
)
from calcs.errors import InputError
from calcs.fields import Fields
from calcs.rule_parts import StatedParts, is_of_kind, read_confidence, read_event, read_stated, under
from calcs.rules import BankRule, Fixed
from calcs.units import Dimension, GaugePressure

_FINALS: Final = ("above_precharge", "minimum_operating", "fixed")
_FASTEST_RAM: Final = "fastest-ram"


def is_bank_rule(fields: Fields) -> bool:
    """Tell whether a rule of a file is one on accumulators or pumps."""
    return is_of_kind(fields, BANK_RULE_KINDS)


def read_bank_rules(given: Sequence[Fields]) -> tuple[BankRule, ...]:
    """Read such rules in order; raises InputError naming the path at fault."""
    rules = tuple(_bank_rule(fields) for fields in given)
    refuse_rivals(rules)
    return rules


def read_inline_drawdown_rule(mapping: Mapping[str, Any], path: str = "rule") -> DrawdownRule:
    """Read one drawdown rule stated in a document: ``final`` suffices. Raises InputError naming the path."""
    fields = Fields(mapping, path)
    rule = DrawdownRule(
        id=fields.text("id", "as given"),
        clause=fields.text("clause", "as given"),
        title=fields.text("title", "Rule given with the question"),
        confidence=read_confidence(fields, stated=True),
        note=fields.text("note", ""),
        final=_final(fields.object("final")),
        functions=fields.text("functions", ""),
    )
    fields.close()
    return rule


def _bank_rule(fields: Fields) -> BankRule:
    reader = _READERS[fields.choice("kind", BANK_RULE_KINDS)]
    common = read_stated(fields, read_event)
    return under(fields, lambda: reader(fields, common))


def _drawdown(fields: Fields, common: StatedParts) -> DrawdownRule:
    return DrawdownRule(**common, final=_final(fields.object("final")), functions=fields.text("functions", ""))


def _final(fields: Fields) -> tuple[FinalPart, ...]:
    if not fields.has("greatest"):
        return (_final_part(fields),)
    if any(fields.has(key) for key in _FINALS):
        raise InputError(
            fields.path_of_self, "One final pressure is expected here.", "Give greatest alone, or one part."
        )
    parts = tuple(_final_part(part) for part in fields.objects("greatest"))
    if len(parts) < 2:
        raise InputError(fields.path("greatest"), "Several pressures are compared here.", "Give at least two.")
    return parts


def _final_part(fields: Fields) -> FinalPart:
    given = [key for key in _FINALS if fields.has(key)]
    if len(given) != 1:
        raise InputError(
            fields.path_of_self,
            "One final pressure is expected here, in the vocabulary of the rules.",
            f"Give exactly one of: greatest, {', '.join(_FINALS)}.",
        )
    return under(fields, lambda: _final_of(given[0], fields))


def _final_of(key: str, fields: Fields) -> FinalPart:
    if key == "above_precharge":
        return AbovePrecharge(fields.si(key, Dimension.PRESSURE))
    if key == "fixed":
        return Fixed(GaugePressure(fields.si(key, Dimension.PRESSURE)))
    if not fields.flag(key):
        raise InputError(fields.path(key), "This pressure is either asked for or not written.", "Give true.")
    return MinimumOperating()


def _recharge(fields: Fields, common: StatedParts) -> RechargeRule:
    return RechargeRule(
        **common,
        pumps=Pumps(fields.choice("pumps", list(Pumps))),
        within=fields.si("within", Dimension.TIME),
        start=ChargeState(fields.choice("from", list(ChargeState))),
        end=ChargeState(fields.choice("to", list(ChargeState))),
    )


def _precharge(fields: Fields, common: StatedParts) -> PrechargeRule:
    return PrechargeRule(**common, tolerance=fields.si("tolerance", Dimension.PRESSURE))


def _response(fields: Fields, common: StatedParts) -> ResponseRule:
    if not any(scope.kinds for scope in common["scopes"]):
        raise InputError(fields.path("scope"), "A closing time is for some kinds of component.", "Give their kinds.")
    slowest = fields.choice("not_slower_than", (_FASTEST_RAM,)) if fields.has("not_slower_than") else ""
    return ResponseRule(
        **common,
        movement=Movement(fields.choice("movement", list(Movement), Movement.NONE)),
        bore_from=fields.si_or_none("bore_from", Dimension.LENGTH),
        bore_under=fields.si_or_none("bore_under", Dimension.LENGTH),
        within=fields.si_or_none("within", Dimension.TIME),
        as_fast_as_rams=slowest == _FASTEST_RAM,
    )


def _pump_setting(fields: Fields, common: StatedParts) -> PumpSettingRule:
    return PumpSettingRule(
        **common,
        duty=PumpDuty(fields.choice("duty", list(PumpDuty), PumpDuty.NONE)),
        drive=PumpDrive(fields.choice("drive", list(PumpDrive), PumpDrive.NONE)),
        starts_at_least=fields.si_or_none("starts_at_least", Dimension.RATIO),
        stops_between=_two_fractions(fields, "stops_between"),
        air_supply=fields.si_or_none("air_supply", Dimension.PRESSURE),
    )


def _two_fractions(fields: Fields, key: str) -> tuple[float, float] | None:
    if not fields.has(key):
        return None
    given = fields.any(key)
    numbers = isinstance(given, list | tuple) and all(
        isinstance(one, int | float) and not isinstance(one, bool) for one in given
    )
    if not numbers or len(given) != 2:
        raise InputError(fields.path(key), "Two fractions are expected.", "Give for instance [0.97, 1.00].")
    return float(given[0]), float(given[1])


_READERS: Final[Mapping[str, Callable[[Fields, StatedParts], BankRule]]] = {
    "drawdown": _drawdown,
    "recharge": _recharge,
    "precharge": _precharge,
    "response": _response,
    "pump-setting": _pump_setting,
}
BANK_RULE_KINDS: Final = tuple(_READERS)
"""The kinds of rules on accumulators and pumps, as files name them."""
