"""The surfaces ``drawdown-verdict`` and ``drawdown-steps``: a drawdown as it was done, judged, and found in a file."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from calcs import closing, working
from calcs.bank_rule_files import read_inline_drawdown_rule
from calcs.bank_rules import (
    LINE_VALVE_KINDS,
    RAM_KINDS,
    DrawdownRule,
    Movement,
    PumpDrive,
    PumpDuty,
    Pumps,
    ResponseLimit,
    drawdown_rule,
    precharge_rule,
    pump_setting_rules,
    recharge_rule,
    response_limit,
)
from calcs.drawdown_steps import FoundDrawdown, FoundStep, find_drawdown_steps
from calcs.drawdown_verdict import (
    DrawdownCase,
    DrawdownVerdict,
    PumpVerdict,
    RechargeVerdict,
    Worked,
    judge_drawdown,
    judge_pump,
    judge_recharge,
)
from calcs.errors import InputError
from calcs.fields import Fields
from calcs.recording_layouts import FIELD
from calcs.recordings import Recording
from calcs.rules import Edition, StackKind
from calcs.surfaces.answers import quantity, quantity_or_none
from calcs.surfaces.holds import about_recording, read_recording_given, seconds_or_none, span
from calcs.surfaces.requirements import read_kind
from calcs.units import Dimension, GaugePressure, System

T = TypeVar("T")
_ROUNDING_PA: Final = 1.0
_MOST_PARTS: Final = 50


@dataclass(frozen=True, slots=True)
class _Rules:
    """The edition to look rules up in, None where a drawdown rule was stated in full."""

    edition: Edition | None
    drawdown: DrawdownRule | None
    stack: StackKind


@dataclass(frozen=True, slots=True)
class VerdictQuestion:
    """A drawdown with its timed chargings and pumps, each bound to the rule that judges it."""

    case: DrawdownCase
    recharges: tuple[Callable[[], RechargeVerdict], ...]
    pumps: tuple[tuple[str, Callable[[], tuple[PumpVerdict, ...]]], ...]


@dataclass(frozen=True, slots=True)
class VerdictAnswer:
    """Everything judged."""

    case: DrawdownCase
    drawdown: DrawdownVerdict
    recharges: tuple[RechargeVerdict, ...]
    pumps: tuple[tuple[str, tuple[PumpVerdict, ...]], ...]


@dataclass(frozen=True, slots=True)
class StepsQuestion:
    """A recording, and how many functions were worked, where that is known."""

    recording: Recording
    functions: int | None
    given_as: str


@dataclass(frozen=True, slots=True)
class StepsAnswer:
    """The steps with their recording."""

    recording: Recording
    found: FoundDrawdown


def parse_verdict(fields: Fields, editions: Sequence[Edition]) -> VerdictQuestion:
    """Read the drawdown, the rule by an edition's name or stated in full, and what was charged and set besides."""
    rules = _rules(fields, editions)
    precharge = _pressure(fields, "precharge_measured")
    functions = fields.any("functions")
    if isinstance(functions, list | tuple):
        closing.check_functions(functions)
    case: dict[str, Any] = {
        "rule": rules.drawdown,
        "start": GaugePressure(fields.si("start", Dimension.PRESSURE)),
        "final": _pressure(fields, "final"),
        "precharge_measured": precharge,
        "precharge_design": GaugePressure(fields.si("precharge_design", Dimension.PRESSURE)),
        "precharge_in_band": _in_band(fields, rules),
        "minimum_operating": _pressure(fields, "minimum_operating"),
        "functions": tuple(_worked(one, rules) for one in fields.objects("functions")),
        "judged": fields.choice("judged", ("", "at-once", "settled"), ""),
        "subsea": rules.stack == "subsea",
    }
    fields.has("rated")  # known whether or not something needs it
    if case["final"] is None and case["functions"]:
        case["final"] = case["functions"][-1].pressure
    return VerdictQuestion(DrawdownCase(**case), _recharges(fields, rules), _pumps(fields, rules))


def compute_verdict(asked: VerdictQuestion) -> VerdictAnswer:
    """Judge everything."""
    return VerdictAnswer(
        asked.case,
        judge_drawdown(asked.case),
        tuple(judge() for judge in asked.recharges),
        tuple((name, judge()) for name, judge in asked.pumps),
    )


def format_verdict(answer: VerdictAnswer, system: System) -> dict[str, Any]:
    """Write the verdict; ``passes`` is that of everything asked, ``drawdown_passes`` of the drawdown alone."""
    found = answer.drawdown
    parts = [one.passes for one in answer.recharges]
    parts += [one.passes for _, verdicts in answer.pumps for one in verdicts]
    return {
        "passes": found.passes and all(parts),
        "drawdown_passes": found.passes,
        "final": quantity_or_none(found.final, Dimension.PRESSURE, system),
        "limit": quantity_or_none(found.limit, Dimension.PRESSURE, system),
        "margin": quantity_or_none(found.margin, Dimension.PRESSURE, system),
        "reasons": list(found.reasons),
        "notes": list(found.notes),
        "working": working.lines(found.working, system),
        "rule": None if answer.case.rule is None else answer.case.rule.id,
        "clause": found.clause,
        "confidence": None if found.confidence is None else found.confidence.value,
        "functions": [_function(one) for one in answer.case.functions],
        "recharges": [_recharge(one) for one in answer.recharges],
        "pumps": [{"pump": name, **_pump(verdict, system)} for name, verdicts in answer.pumps for verdict in verdicts],
    }


def parse_steps(fields: Fields, _: Sequence[Edition]) -> StepsQuestion:
    """Read a recording, and the count of functions worked."""
    count = fields.any("functions", None)
    if count is not None and (isinstance(count, bool) or not isinstance(count, int)):
        raise InputError(fields.path("functions"), "A whole number is expected.", "Give how many were worked.")
    return StepsQuestion(read_recording_given(fields), count, "samples" if fields.has("samples") else "recording_csv")


def compute_steps(asked: StepsQuestion) -> StepsAnswer:
    """Find the drops."""
    try:
        return StepsAnswer(asked.recording, find_drawdown_steps(asked.recording, asked.functions))
    except InputError as error:
        field = asked.given_as if error.field == FIELD else error.field
        raise InputError(field, error.reason, error.remedy) from error


def format_steps(answer: StepsAnswer, system: System) -> dict[str, Any]:
    """Write the drops in order; times in elapsed s and, with a clock, as moments."""
    return {
        "start": quantity(answer.found.start, Dimension.PRESSURE, system),
        "steps": [_step(one, answer.recording, system) for one in answer.found.steps],
        "reasons": list(answer.found.reasons),
        "recording": about_recording(answer.recording),
    }


def _rules(fields: Fields, editions: Sequence[Edition]) -> _Rules:
    stack: StackKind = "subsea" if fields.choice("stack", ("surface", "subsea"), "surface") == "subsea" else "surface"
    given = fields.any("rule")
    if isinstance(given, Mapping):
        return _Rules(None, read_inline_drawdown_rule(given, fields.path("rule")), stack)
    named = [edition for edition in editions if edition.is_named(fields.text("rule"))]
    if not named:
        known = ", ".join(edition.id for edition in editions) or "none"
        raise InputError(fields.path("rule"), "There is no edition of that name.", f"Known are: {known}.")
    edition = max(named, key=lambda one: one.ordered_by)
    return _Rules(edition, drawdown_rule(edition, stack=stack), stack)


def _in_band(fields: Fields, rules: _Rules) -> bool | None:
    """Tell whether the precharge lies in its tolerance: the one given, else the edition's."""
    tolerance = fields.si_or_none("precharge_tolerance", Dimension.PRESSURE)
    if fields.has("precharge_in_band"):
        return fields.flag("precharge_in_band")
    if tolerance is None and rules.edition is not None:
        rule = precharge_rule(rules.edition, stack=rules.stack)
        tolerance = None if rule is None else rule.tolerance
    measured = _pressure(fields, "precharge_measured")
    if tolerance is None or measured is None:
        return None
    if not tolerance > 0:
        raise InputError(fields.path("precharge_tolerance"), "A tolerance is over zero.", "Give for instance 100 psi.")
    return abs(measured - fields.si("precharge_design", Dimension.PRESSURE)) <= tolerance + _ROUNDING_PA


def _worked(one: Fields, rules: _Rules) -> Worked:
    kind = read_kind(one.any("kind"), one.path("kind")) if one.has("kind") else ""
    name, seconds = one.text("name"), one.si_or_none("time", Dimension.TIME)
    pressure, minimum = _pressure(one, "pressure"), _pressure(one, "minimum_pressure")
    limit = _response(one, kind, rules)
    return _under(
        one, lambda: Worked(name, seconds, limit, pressure, minimum, kind in RAM_KINDS, kind in LINE_VALVE_KINDS)
    )


def _response(one: Fields, kind: str, rules: _Rules) -> ResponseLimit | None:
    bore = one.si_or_none("bore", Dimension.LENGTH)
    movement = one.choice("movement", ("close", "open"), Movement.CLOSE)
    if bore is not None and not 0 < bore <= 2:
        raise InputError(one.path("bore"), "The bore is not over zero or is absurd.", "Give it in in or mm.")
    if not kind or rules.edition is None:
        return None
    return response_limit(rules.edition, kind=kind, stack=rules.stack, bore=bore, movement=movement)


def _recharges(fields: Fields, rules: _Rules) -> tuple[Callable[[], RechargeVerdict], ...]:
    given = _few(fields, "recharges")
    if not given:
        return ()
    precharge = _pressure(fields, "precharge_measured")
    precharge = GaugePressure(fields.si("precharge_design", Dimension.PRESSURE)) if precharge is None else precharge
    rated = GaugePressure(fields.si("rated", Dimension.PRESSURE))
    return tuple(_recharge_asked(one, rules, precharge, rated) for one in given)


def _recharge_asked(
    one: Fields, rules: _Rules, precharge: GaugePressure, rated: GaugePressure
) -> Callable[[], RechargeVerdict]:
    pumps = one.choice("pumps", list(Pumps))
    rule = None if rules.edition is None else recharge_rule(rules.edition, stack=rules.stack, pumps=pumps)
    from_gauge = GaugePressure(one.si("from", Dimension.PRESSURE))
    to_gauge = GaugePressure(one.si("to", Dimension.PRESSURE))
    seconds = one.si("time", Dimension.TIME)
    return lambda: _under(
        one,
        lambda: judge_recharge(rule, from_gauge, to_gauge, seconds, precharge, rated),
        {"seconds": "time"},
        {"rated": "rated", "precharge": "precharge_measured"},
    )


def _pumps(fields: Fields, rules: _Rules) -> tuple[tuple[str, Callable[[], tuple[PumpVerdict, ...]]], ...]:
    given = _few(fields, "pumps")
    if not given:
        return ()
    rated = GaugePressure(fields.si("rated", Dimension.PRESSURE))
    return tuple(_pump_asked(one, rules, rated) for one in given)


def _pump_asked(one: Fields, rules: _Rules, rated: GaugePressure) -> tuple[str, Callable[[], tuple[PumpVerdict, ...]]]:
    name = one.text("pump")
    duty = one.choice("duty", [word for word in PumpDuty if word])
    drive = one.choice("drive", [word for word in PumpDrive if word])
    found = (
        pump_setting_rules(rules.edition, stack=rules.stack, duty=duty, drive=drive)
        if rules.edition is not None
        else ()
    )
    starts, stops, air = (_pressure(one, key) for key in ("starts_at", "stops_at", "air_supply"))
    return name, lambda: _under(
        one,
        lambda: tuple(judge_pump(rule, starts, stops, rated, air_supply=air) for rule in found or (None,)),
        {},
        {"rated": "rated"},
    )


def _few(fields: Fields, key: str) -> tuple[Fields, ...]:
    given = fields.any(key, ())
    if isinstance(given, list | tuple) and len(given) > _MOST_PARTS:
        raise InputError(fields.path(key), f"There are more than {_MOST_PARTS}.", "Give those of one test.")
    return fields.objects(key)


def _under(
    fields: Fields,
    make: Callable[[], T],
    names: Mapping[str, str] | None = None,
    above: Mapping[str, str] | None = None,
) -> T:
    """Return what `make` makes; an error is put under the path of `fields`, or named as a field above it."""
    try:
        return make()
    except InputError as error:
        if above and error.field in above:
            raise InputError(above[error.field], error.reason, error.remedy) from error
        renamed = InputError((names or {"seconds": "time"}).get(error.field, error.field), error.reason, error.remedy)
        raise renamed.under(fields.path_of_self) from error


def _pressure(fields: Fields, key: str) -> GaugePressure | None:
    found = fields.si_or_none(key, Dimension.PRESSURE)
    return None if found is None else GaugePressure(found)


def _function(one: Worked) -> dict[str, Any]:
    limit = one.limit
    return {
        "name": one.name,
        "time": seconds_or_none(one.seconds),
        "within": None if limit is None else seconds_or_none(limit.within),
        "as_fast_as_rams": limit is not None and limit.as_fast_as_rams,
        "clause": "" if limit is None else limit.clause,
        "confidence": None if limit is None else limit.confidence.value,
        "note": "" if limit is None else limit.note,
    }


def _recharge(found: RechargeVerdict) -> dict[str, Any]:
    return {
        "passes": found.passes,
        "in_time": found.in_time,
        "covers": found.covers,
        "within": seconds_or_none(found.within),
        "reasons": list(found.reasons),
        "notes": list(found.notes),
        "clause": found.clause,
        "confidence": None if found.confidence is None else found.confidence.value,
    }


def _pump(found: PumpVerdict, system: System) -> dict[str, Any]:
    return {
        "passes": found.passes,
        "starts_at_least": quantity_or_none(found.starts_at_least, Dimension.PRESSURE, system),
        "stops_from": quantity_or_none(found.stops_from, Dimension.PRESSURE, system),
        "stops_to": quantity_or_none(found.stops_to, Dimension.PRESSURE, system),
        "reasons": list(found.reasons),
        "notes": list(found.notes),
        "clause": found.clause,
        "confidence": None if found.confidence is None else found.confidence.value,
    }


def _step(one: FoundStep, recording: Recording, system: System) -> dict[str, Any]:
    return {
        **span(one.began_s, one.done_s, recording),
        "pressure_before": quantity(one.pressure_before, Dimension.PRESSURE, system),
        "pressure_at_once": quantity(one.pressure_at_once, Dimension.PRESSURE, system),
        "settled": seconds_or_none(one.settled_s),
        "pressure_settled": quantity_or_none(one.pressure_settled, Dimension.PRESSURE, system),
    }
