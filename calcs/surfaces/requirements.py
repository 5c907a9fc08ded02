"""The surface ``test-pressures``: what a rule asks of one component."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from calcs import working
from calcs.errors import InputError
from calcs.fields import Fields, quoted
from calcs.pressures import Part, weakest
from calcs.requirements import Approval, RequiredPressures, required_pressures
from calcs.rule_files import parse_inline_rule
from calcs.rules import (
    KIND_LABELS,
    Choice,
    Edition,
    ExemptRule,
    LowBand,
    Occasion,
    Position,
    Rule,
    Side,
    Source,
    Subject,
    choose,
)
from calcs.surfaces.answers import quantity, quantity_or_none
from calcs.units import Dimension, GaugePressure, System

_RECORDERS: Final = ("none", "chart", "digital")


def _one_spelling(word: str) -> str:
    """Return a word in the spelling kinds are looked up by: ``"Gate valves (manual)"`` is ``gate-valve-manual``."""
    return re.sub("[^a-z0-9]+", "-", word.casefold().replace("valves", "valve")).strip("-").removesuffix("s")


_KINDS: Final = {
    **{_one_spelling(label): kind for kind, label in KIND_LABELS.items()},
    **{kind: kind for kind in KIND_LABELS},
    "annular-preventer": "annular",
    "vbr": "variable-bore-ram",
    "bsr": "blind-shear-ram",
    "choke-manifold": "manifold",
    "hydraulic-gate-valve": "gate-valve-hydraulic",
    "manual-gate-valve": "gate-valve-manual",
    "standpipe": "standpipe-valve",
    "top-drive-valve": "kelly-valve",
    "kelly-top-drive-valve": "kelly-valve",
}


@dataclass(frozen=True, slots=True)
class PressureQuestion:
    """A component, what is known around it, and the rules chosen for it."""

    choice: Choice
    rwp: GaugePressure
    masp: GaugePressure | None
    weakest_part: GaugePressure | None
    approval: Approval | None
    annular_rwp: GaugePressure | None
    wellhead_rwp: GaugePressure | None
    casing_burst: GaugePressure | None
    recorded: bool
    casing_depth: float | None


def parse_test_pressures(fields: Fields, editions: Sequence[Edition]) -> PressureQuestion:
    """Read the component, the pressures around it and the rule: by name, by id, or stated in full."""
    component = fields.object("component")
    subject = Subject(
        kind=read_kind(component.any("kind"), component.path("kind")),
        stack="subsea" if fields.choice("stack", ("surface", "subsea"), "surface") == "subsea" else "surface",
        position=fields.choice("position", list(Position), Position.NONE),
        side=fields.choice("side", list(Side), Side.NONE),
        occasion=fields.choice("occasion", list(Occasion), Occasion.INTERVAL),
    )
    return PressureQuestion(
        choice=_choice(fields.any("rule"), subject, editions),
        rwp=GaugePressure(component.si("rwp", Dimension.PRESSURE)),
        masp=_pressure(fields, "masp"),
        weakest_part=_weakest_part(fields),
        approval=_approval(fields),
        annular_rwp=_pressure(fields, "annular_rwp"),
        wellhead_rwp=_pressure(fields, "wellhead_rwp"),
        casing_burst=_pressure(fields, "casing_burst"),
        recorded=fields.choice("recorder", _RECORDERS, "none") != "none",
        casing_depth=fields.si_or_none("casing_depth", Dimension.LENGTH),
    )


def read_kind(given: Any, field: str) -> str:
    """Return the component kind meant by ``"Pipe ram"``, ``"pipe_ram"`` or ``"pipe-ram"``."""
    kind = _KINDS.get(_one_spelling(given)) if isinstance(given, str) else None
    if kind is None:
        listed = ", ".join(KIND_LABELS)
        raise InputError(field, f"{quoted(given)} is not a kind of component.", f"Give one of: {listed}.")
    return kind


def compute_test_pressures(asked: PressureQuestion) -> RequiredPressures | ExemptRule:
    """Answer the question; an exempt component is answered with its exemption."""
    if asked.choice.exempt is not None:
        return asked.choice.exempt
    return required_pressures(
        asked.choice,
        rwp=asked.rwp,
        masp=asked.masp,
        weakest_part=asked.weakest_part,
        approval=asked.approval,
        annular_rwp=asked.annular_rwp,
        wellhead_rwp=asked.wellhead_rwp,
        casing_burst=asked.casing_burst,
        recorded=asked.recorded,
        casing_depth=asked.casing_depth,
    )


def format_test_pressures(found: RequiredPressures | ExemptRule, system: System) -> dict[str, Any]:
    """Write the figures, their clauses, and the rule to judge a recording by."""
    if isinstance(found, ExemptRule):
        return _format_exempt(found)
    high = quantity(found.high_gauge, Dimension.PRESSURE, system)
    return {
        "required": True,
        "low": _low(found.low, system),
        "high": high,
        "hold": quantity(found.hold, Dimension.TIME, system),
        "low_hold": quantity_or_none(found.low_hold, Dimension.TIME, system),
        "rule": found.rule.id,
        "clause": found.clause,
        "confidence": found.confidence.value,
        "sources": {name: _source(source) for name, source in found.sources.items()},
        "limited_by_weakest_part": found.limited_by_weakest,
        "working": working.lines(found.working, system),
        "notes": list(found.notes),
        "hold_rule": hold_rule(found, system),
    }


def hold_rule(found: RequiredPressures, system: System) -> dict[str, Any]:
    """Return the requirement as the ``rule`` that ``hold-check`` takes."""
    rule: dict[str, Any] = {
        "low": _low(found.low, system),
        "high": {"target": quantity(found.high_gauge, Dimension.PRESSURE, system)},
        "hold": quantity(found.hold, Dimension.TIME, system),
    }
    if found.low_hold is not None and found.low_hold != found.hold:
        rule["low_hold"] = quantity(found.low_hold, Dimension.TIME, system)
    return rule


def _format_exempt(rule: ExemptRule) -> dict[str, Any]:
    return {
        "required": False,
        "low": None,
        "high": None,
        "hold": None,
        "low_hold": None,
        "rule": rule.id,
        "clause": rule.clause,
        "confidence": rule.confidence.value,
        "working": [],
        "notes": [rule.reason],
        "hold_rule": None,
    }


def _low(low: LowBand | None, system: System) -> dict[str, Any] | None:
    if low is None:
        return None
    return {
        "min": quantity(low.min_gauge, Dimension.PRESSURE, system),
        "max": quantity(low.max_gauge, Dimension.PRESSURE, system),
        "restart_above": quantity_or_none(low.restart_above_gauge, Dimension.PRESSURE, system),
    }


def _source(source: Source) -> dict[str, str]:
    found = {"clause": source.clause, "confidence": source.confidence.value}
    return {**found, "note": source.note} if source.note else found


def _choice(given: Any, subject: Subject, editions: Sequence[Edition]) -> Choice:
    if isinstance(given, Mapping):
        return Choice(subject, (parse_inline_rule(given),))
    if not isinstance(given, str):
        raise InputError("rule", "A rule is named, or stated as an object.", _known_rules(editions))
    named = [edition for edition in editions if edition.is_named(given)]
    if named:
        return choose(max(named, key=lambda edition: edition.ordered_by), subject)
    found = [rule for edition in editions if (rule := edition.rule(given.strip())) is not None]
    if not found:
        raise InputError("rule", f"{quoted(given)} is no rule or edition of the rule book.", _known_rules(editions))
    return Choice(subject, (_fitting(found[0], subject),))


def _fitting(rule: Rule, subject: Subject) -> Rule:
    """Return `rule` if it covers the subject; it was asked for by id, so the occasion doesn't matter."""
    if not any(scope.mismatches(subject) <= {"occasion"} for scope in rule.scopes):
        raise InputError(
            "component.kind",
            f"The rule {rule.id} does not cover a {KIND_LABELS[subject.kind]} there.",
            "Check kind, stack, position and side, or name the edition and let it choose.",
        )
    return rule


def _known_rules(editions: Sequence[Edition]) -> str:
    if not editions:
        return "No rule book is loaded: state the rule as an object."
    return (
        f"Editions known: {', '.join(edition.id for edition in editions)}; or name one rule, or state it as an object."
    )


def _pressure(fields: Fields, key: str) -> GaugePressure | None:
    given = fields.si_or_none(key, Dimension.PRESSURE)
    return None if given is None else GaugePressure(given)


def _weakest_part(fields: Fields) -> GaugePressure | None:
    """Read the weakest part's limit, or the parts exposed (``name``, ``limit``) to find it among."""
    if not fields.has("weakest_part") or not isinstance(fields.any("weakest_part"), list | tuple):
        return _pressure(fields, "weakest_part")
    parts = [
        Part(part.text("name"), GaugePressure(part.si("limit", Dimension.PRESSURE)))
        for part in fields.objects("weakest_part")
    ]
    return weakest(parts).limit_gauge


def _approval(fields: Fields) -> Approval | None:
    """Read an approval: its reference alone, or reference and pressure."""
    if not fields.has("approval"):
        return None
    if isinstance(fields.any("approval"), str):
        return Approval(fields.any("approval"))
    approval = fields.object("approval")
    return Approval(approval.text("reference"), _pressure(approval, "pressure"))
