"""Reading rule sets from data: a closed vocabulary, every unknown key refused by its path."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from calcs.bank_rule_files import BANK_RULE_KINDS, is_bank_rule, read_bank_rules
from calcs.errors import InputError
from calcs.fields import Fields
from calcs.rule_parts import read_confidence as _confidence
from calcs.rule_parts import read_event as _event
from calcs.rule_parts import read_recurs as _recurs
from calcs.rule_parts import read_scope as _scope
from calcs.rule_parts import read_source as _source
from calcs.rule_pressures import read_high, read_hold, read_low
from calcs.rule_schema import FORMAT
from calcs.rules import Edition, ExemptRule, PressureRule, Rule, Scope, SignaturesNeeded, SigningCapacity
from calcs.schedule_rule_files import SCHEDULE_RULE_KINDS, is_schedule_rule, read_schedule_rules
from calcs.signing import ANSWERABLE


def parse_edition(mapping: Mapping[str, Any]) -> Edition:
    """Read an edition from data (a TOML file's content); raises InputError naming the path at fault."""
    fields = Fields(mapping)
    _refuse_other_format(fields)
    defaults = fields.object("defaults", {})
    rules = fields.objects("rules")
    edition = Edition(
        id=fields.text("id"),
        regime=fields.text("regime"),
        title=fields.text("title"),
        edition=fields.text("edition"),
        effective_from=fields.date("effective_from") if fields.has("effective_from") else None,
        effective_until=fields.date("effective_until") if fields.has("effective_until") else None,
        source=fields.text("source"),
        checked_on=fields.date("checked_on"),
        signatures=_signatures(fields.object("signatures")) if fields.has("signatures") else None,
        aliases=fields.texts("aliases"),
        rules=tuple(_rule(one, defaults) for one in rules if not is_bank_rule(one) and not is_schedule_rule(one)),
        bank_rules=read_bank_rules([rule for rule in rules if is_bank_rule(rule)]),
        schedule_rules=read_schedule_rules([rule for rule in rules if is_schedule_rule(rule)]),
    )
    fields.close()
    ids = [rule.text("id") for rule in rules]
    _refuse_doubles(ids)
    _refuse_waivers_of_nothing(rules, ids)
    return edition


def _refuse_other_format(fields: Fields) -> None:
    if fields.any("format", FORMAT) != FORMAT:
        raise InputError("format", f"This vocabulary is number {FORMAT}.", f"Write format = {FORMAT}, or leave it out.")


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


def _refuse_waivers_of_nothing(rules: Sequence[Fields], ids: Sequence[str]) -> None:
    for rule in rules:
        for index, waived in enumerate(rule.texts("waives")):
            if waived not in ids:
                field = f"{rule.path('waives')}.{index}"
                raise InputError(field, f"{waived!r} is no rule of this edition.", "Give the id of one of its rules.")


def _rule(fields: Fields, defaults: Fields) -> Rule:
    if fields.choice("kind", ("pressure", "exempt", *BANK_RULE_KINDS, *SCHEDULE_RULE_KINDS)) == "pressure":
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
    open_ones = _left_open(fields, defaults)
    rule = PressureRule(
        id=fields.text("id"),
        clause=fields.text("clause"),
        title=fields.text("title"),
        confidence=_confidence(fields),
        scopes=scopes,
        low=None if "low" in open_ones else read_low(_own_or_default(fields, defaults, "low")),
        high=read_high(fields.object("high")),
        hold=None if "hold" in open_ones else read_hold(_own_or_default(fields, defaults, "hold")),
        recurs=_recurs(fields.object("recurs")) if fields.has("recurs") else None,
        events=tuple(_event(event) for event in _own_or_default_list(fields, defaults, "events")),
        acceptance=fields.text("acceptance", defaults.text("acceptance", "")),
    )
    if rule.recurs is None and not rule.events:
        raise InputError(fields.path("recurs"), "Nothing calls for this test.", "Give an interval or an event.")
    return rule


def _left_open(fields: Fields, defaults: Fields) -> tuple[str, ...]:
    """Read which figures the published rule does not state: said outright, so that none is left out by mistake."""
    chosen = fields if fields.has("leaves_open") or not defaults.has("leaves_open") else defaults
    named = chosen.choices("leaves_open", ("low", "hold"))
    for key in named:
        if fields.has(key):
            raise InputError(fields.path(key), "The figure is given and left open.", "Give it, or leave it open.")
    return named


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
        low=read_low(_stated(fields, "low")) if fields.has("low") else None,
        high=read_high(_stated(fields, "high")),
        hold=read_hold(_stated(fields, "hold")),
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
