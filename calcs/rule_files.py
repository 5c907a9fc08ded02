"""Reading rule sets from data: a closed vocabulary, every unknown key refused by its path."""

from collections.abc import Mapping
from typing import Any, Final

from calcs.bank_rule_files import BANK_RULE_KINDS, is_bank_rule, read_bank_rules
from calcs.errors import InputError
from calcs.fields import Fields
from calcs.rule_parts import read_confidence as _confidence
from calcs.rule_parts import read_event as _event
from calcs.rule_parts import read_recurs as _recurs
from calcs.rule_parts import read_scope as _scope
from calcs.rule_parts import read_source as _source
from calcs.rule_parts import under as _under
from calcs.rules import (
    Approved,
    Edition,
    ExemptRule,
    Fixed,
    Formula,
    Fraction,
    Greatest,
    High,
    Hold,
    HoldCondition,
    Least,
    LowBand,
    MaspPlus,
    PressureRule,
    Rating,
    Rule,
    Scope,
    SignaturesNeeded,
    SigningCapacity,
)
from calcs.signing import ANSWERABLE
from calcs.units import Dimension, GaugePressure


def parse_edition(mapping: Mapping[str, Any]) -> Edition:
    """Read an edition from data (a TOML file's content); raises InputError naming the path at fault."""
    fields = Fields(mapping)
    defaults = fields.object("defaults", {})
    rules = fields.objects("rules")
    edition = Edition(
        id=fields.text("id"),
        regime=fields.text("regime"),
        title=fields.text("title"),
        edition=fields.text("edition"),
        effective_from=fields.date("effective_from"),
        effective_until=fields.date("effective_until") if fields.has("effective_until") else None,
        source=fields.text("source"),
        checked_on=fields.date("checked_on"),
        signatures=_signatures(fields.object("signatures")) if fields.has("signatures") else None,
        aliases=fields.texts("aliases"),
        rules=tuple(_rule(rule, defaults) for rule in rules if not is_bank_rule(rule)),
        bank_rules=read_bank_rules([rule for rule in rules if is_bank_rule(rule)]),
    )
    fields.close()
    _refuse_doubles([rule.text("id") for rule in rules])
    return edition


def _signatures(fields: Fields) -> SignaturesNeeded:
    """Read whose signatures a record needs; one of them has to answer for the test."""
    named = tuple(SigningCapacity(one) for one in fields.choices("needed", list(SigningCapacity)))
    needed = SignaturesNeeded(named, _source(fields))
    fields.close()
    if not set(named) & set(ANSWERABLE):
        listed = ", ".join(ANSWERABLE)
        raise InputError(
            fields.path("needed"), "None of these answers for the test.", f"Name at least one of: {listed}."
        )
    if len(set(named)) < len(named):
        raise InputError(fields.path("needed"), "A capacity is named twice.", "Name each once.")
    return needed


def _refuse_doubles(ids: list[str]) -> None:
    seen: set[str] = set()
    for index, rule_id in enumerate(ids):
        if rule_id in seen:
            raise InputError(f"rules.{index}.id", f"{rule_id!r} is used twice.", "Give each rule its own id.")
        seen.add(rule_id)
    if not ids:
        raise InputError("rules", "The edition has no rules.", "Give at least one rule.")


def _rule(fields: Fields, defaults: Fields) -> Rule:
    if fields.choice("kind", ("pressure", "exempt", *BANK_RULE_KINDS)) == "pressure":
        return _pressure_rule(fields, defaults)
    return ExemptRule(
        id=fields.text("id"),
        clause=fields.text("clause"),
        title=fields.text("title"),
        confidence=_confidence(fields),
        scopes=tuple(_scope(scope) for scope in fields.objects("scope")),
        reason=fields.text("reason"),
    )


def _pressure_rule(fields: Fields, defaults: Fields) -> PressureRule:
    scopes = tuple(_scope(scope) for scope in fields.objects("scope"))
    if not scopes:
        raise InputError(fields.path("scope"), "The rule applies to nothing.", "Give at least one scope.")
    rule = PressureRule(
        id=fields.text("id"),
        clause=fields.text("clause"),
        title=fields.text("title"),
        confidence=_confidence(fields),
        scopes=scopes,
        low=_low(_own_or_default(fields, defaults, "low")),
        high=_high(fields.object("high")),
        hold=_hold(_own_or_default(fields, defaults, "hold")),
        recurs=_recurs(fields.object("recurs")) if fields.has("recurs") else None,
        events=tuple(_event(event) for event in _own_or_default_list(fields, defaults, "events")),
        acceptance=fields.text("acceptance", defaults.text("acceptance", "")),
    )
    if rule.recurs is None and not rule.events:
        raise InputError(fields.path("recurs"), "Nothing calls for this test.", "Give an interval or an event.")
    return rule


_GIVEN: Final = {"clause": "as given", "confidence": "given"}


def parse_inline_rule(mapping: Mapping[str, Any], path: str = "rule") -> PressureRule:
    """Read one pressure rule stated in a document: ``high`` and ``hold`` suffice, ``low`` is advised.

    The vocabulary is the rule files'. A clause and confidence left out are the caller's word: "as
    given". Raises InputError naming the path at fault.
    """
    fields = Fields(mapping, path)
    rule = PressureRule(
        id=fields.text("id", "as given"),
        clause=fields.text("clause", _GIVEN["clause"]),
        title=fields.text("title", "Rule given with the question"),
        confidence=_confidence(fields, stated=True),
        scopes=(Scope(),),
        low=_low(_stated(fields, "low")) if fields.has("low") else None,
        high=_high(_stated(fields, "high")),
        hold=_hold(_stated(fields, "hold")),
        acceptance=fields.text("acceptance", ""),
    )
    fields.close()
    return rule


def _stated(fields: Fields, key: str) -> Fields:
    """Return a figure of an inline rule with its source filled in from the rule's own, or as given.

    A bare hold, ``"5 min"``, stands for its ``time``.
    """
    given = fields.any(key)
    if key == "hold" and not isinstance(given, Mapping):
        given = {"time": given}
    source = {name: fields.text(name, default) for name, default in _GIVEN.items()}
    return fields.nested(key, {**source, **given} if isinstance(given, Mapping) else given)


def _own_or_default(fields: Fields, defaults: Fields, key: str) -> Fields:
    return fields.object(key) if fields.has(key) or not defaults.has(key) else defaults.object(key)


def _own_or_default_list(fields: Fields, defaults: Fields, key: str) -> tuple[Fields, ...]:
    return fields.objects(key) if fields.has(key) or not defaults.has(key) else defaults.objects(key)


def _low(fields: Fields) -> LowBand:
    min_gauge = fields.si("min", Dimension.PRESSURE)
    max_gauge = fields.si("max", Dimension.PRESSURE)
    restart = fields.si_or_none("restart_above", Dimension.PRESSURE)
    source = _source(fields)
    return _under(
        fields,
        lambda: LowBand(
            GaugePressure(min_gauge),
            GaugePressure(max_gauge),
            GaugePressure(max_gauge if restart is None else restart),
            source,
        ),
    )


def _high(fields: Fields) -> High:
    source = _source(fields)
    alternative = fields.object("alternative") if fields.has("alternative") else None
    return High(_formula(fields), source, _formula(alternative) if alternative else None)


_DEEPEST: Final = 4
_FORMULAS: Final = ("fraction", "masp_plus", "fixed", "approved", "least", "greatest")


def _formula(fields: Fields, depth: int = 0) -> Formula:
    given = [key for key in _FORMULAS if fields.has(key)]
    if len(given) != 1 or depth > _DEEPEST:
        raise InputError(
            fields.path_of_self,
            "One pressure is expected here, in the vocabulary of the rules.",
            f"Give exactly one of: {', '.join(_FORMULAS)}.",
        )
    return _under(fields, lambda: _formula_of(given[0], fields, depth))


def _formula_of(key: str, fields: Fields, depth: int) -> Formula:
    if key == "fraction":
        of = Rating(fields.choice("of", list(Rating), Rating.COMPONENT))
        return Fraction(fields.si("fraction", Dimension.RATIO), of)
    if key == "masp_plus":
        return MaspPlus(fields.si("masp_plus", Dimension.PRESSURE), fields.flag("needs_approval", True))
    if key == "fixed":
        return Fixed(GaugePressure(fields.si("fixed", Dimension.PRESSURE)))
    if key == "approved":
        if not fields.flag("approved"):
            raise InputError("approved", "An approved value is either asked for or not written.", "Give true.")
        return Approved()
    terms = tuple(_formula(term, depth + 1) for term in fields.objects(key))
    if len(terms) < 2:
        raise InputError(key, "Several pressures are compared here.", "Give at least two.")
    return Least(terms) if key == "least" else Greatest(terms)


def _hold(fields: Fields) -> Hold:
    duration = fields.si("time", Dimension.TIME)
    reduced = fields.si_or_none("reduced", Dimension.TIME)
    conditions = tuple(HoldCondition(word) for word in fields.choices("conditions", list(HoldCondition)))
    source = _source(fields)
    return _under(fields, lambda: Hold(duration, source, reduced, conditions))
