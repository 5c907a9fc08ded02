"""The shape of a rule file as JSON Schema (draft 2020-12), made from the same vocabulary the readers use.

An editor can check a file against it while it is written; the readers (`calcs.rule_files`) stay the judge, since a
schema knows nothing of quantities, of ids used twice or of a waiver of a rule that is not there. Every key is named
and none besides is allowed.
"""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from calcs.bank_rules import ChargeState, Movement, PumpDrive, PumpDuty, Pumps
from calcs.recurrence import Deadline
from calcs.rules import (
    KIND_LABELS,
    STACKS,
    Confidence,
    HoldCondition,
    Occasion,
    Position,
    Rating,
    Side,
    SigningCapacity,
)
from calcs.schedule_rules import (
    THING_LABELS,
    Evidence,
    PostponeReason,
    Prerequisite,
    Task,
    WaiverCondition,
)

Schema = dict[str, Any]

FORMAT: Final = 1
"""The version of the vocabulary; a file of another is refused rather than half understood."""

_TEXT: Final[Schema] = {"type": "string", "pattern": r"\S"}
_NOTE: Final[Schema] = {"type": "string"}
_DATE: Final[Schema] = {"type": "string", "pattern": r"^\d{4}-\d{2}-\d{2}$"}
_QUANTITY: Final[Schema] = {"type": ["string", "number"], "description": "A number with its unit, such as 250 psi."}
_INTERVAL: Final[Schema] = {
    "type": "string",
    "pattern": r"^\s*[0-9]{1,7}\s*(h|hours?|d|days?|weeks?|months?|years?)\s*$",
    "description": "A whole number of hours, days, weeks, months or years: 14 d, 6 months.",
}
_SOURCED: Final = ("clause", "confidence")


def edition_schema() -> Schema:
    """Return the schema of one rule file.

    >>> sorted(edition_schema()["required"])
    ['checked_on', 'edition', 'id', 'regime', 'rules', 'source', 'title']
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "An edition: one published rule set as it stood at a date",
        **_object(
            {
                "format": {"const": FORMAT},
                "id": _TEXT,
                "regime": _TEXT,
                "title": _TEXT,
                "edition": _TEXT,
                "effective_from": _DATE,
                "effective_until": _DATE,
                "source": _TEXT,
                "checked_on": _DATE,
                "aliases": _list(_NOTE),
                "signatures": _object(
                    {"needed": _words(SigningCapacity, least=1), **_source()}, required=("needed", *_SOURCED)
                ),
                "defaults": _object(
                    {
                        "low": _ref("low"),
                        "hold": _ref("hold"),
                        "events": _list(_ref("event")),
                        "acceptance": _TEXT,
                        "leaves_open": _words(("low", "hold")),
                    }
                ),
                "rules": {"type": "array", "minItems": 1, "items": {"oneOf": [_ref(kind) for kind in _RULES]}},
            },
            required=("id", "regime", "title", "edition", "source", "checked_on", "rules"),
        ),
        "$defs": {**_parts(), **{kind: make() for kind, make in _RULES.items()}},
    }


def _object(keys: Mapping[str, Schema], *, required: Iterable[str] = ()) -> Schema:
    return {
        "type": "object",
        "properties": dict(keys),
        "required": list(required),
        "additionalProperties": False,
    }


def _list(items: Schema, *, least: int = 0) -> Schema:
    return {"type": "array", "items": items, **({"minItems": least} if least else {})}


def _word(words: Iterable[str]) -> Schema:
    return {"enum": [str(word) for word in words]}


def _words(words: Iterable[str], *, least: int = 0) -> Schema:
    return _list(_word(words), least=least)


def _ref(name: str) -> Schema:
    return {"$ref": f"#/$defs/{name}"}


def _sure() -> Schema:
    return _word(word for word in Confidence if word is not Confidence.GIVEN)


def _source() -> dict[str, Schema]:
    return {"clause": _TEXT, "confidence": _sure(), "note": _NOTE}


def _parts() -> dict[str, Schema]:
    """Return what several kinds of rule are made of."""
    return {
        "scope": _object(
            {
                "kinds": _words(KIND_LABELS),
                "stacks": _words(STACKS),
                "positions": _words(Position),
                "sides": _words(Side),
                "occasions": _words(Occasion),
            }
        ),
        "recurs": _object(
            {"interval": _INTERVAL, "deadline": _word(Deadline), **_source()},
            required=("interval", "deadline", *_SOURCED),
        ),
        "event": _object({"occasion": _word(Occasion), **_source()}, required=("occasion", *_SOURCED)),
        "timed-event": _object(
            {"occasion": _word(_events()), "before": _INTERVAL, "after": _INTERVAL, **_source()},
            required=("occasion", *_SOURCED),
        ),
        "low": _object(
            {"min": _QUANTITY, "max": _QUANTITY, "restart_above": _QUANTITY, **_source()},
            required=("min", "max", *_SOURCED),
        ),
        "hold": _object(
            {
                "time": _QUANTITY,
                "reduced": _QUANTITY,
                "conditions": _words(HoldCondition),
                "low_time": _QUANTITY,
                **_source(),
            },
            required=("time", *_SOURCED),
        ),
        "formula": _formula({}),
        "high": _formula({"alternative": _ref("formula"), **_source()}, required=_SOURCED),
        "needed": _object({"what": _word(Evidence), "within": _INTERVAL}, required=("what",)),
    }


def _events() -> list[Occasion]:
    return [one for one in Occasion if one is not Occasion.INTERVAL]


def _formula(more: Mapping[str, Schema], *, required: Iterable[str] = ()) -> Schema:
    """Return the schema of one pressure: exactly one of the vocabulary, with what belongs to it."""
    several = _list(_ref("formula"), least=2)
    figures: dict[str, Schema] = {
        "fraction": _QUANTITY,
        "masp_plus": _QUANTITY,
        "fixed": _QUANTITY,
        "per_casing_depth": _QUANTITY,
        "approved": {"const": True},
        "least": several,
        "greatest": several,
    }
    beside: dict[str, Schema] = {"of": _word(Rating), "needs_approval": {"type": "boolean"}}
    return {
        **_object({**figures, **beside, **more}, required=required),
        "oneOf": [{"required": [figure]} for figure in figures],
        "dependentRequired": {"of": ["fraction"], "needs_approval": ["masp_plus"]},
    }


def _rule(kind: str, own: Mapping[str, Schema], required: Iterable[str] = (), *, calls: bool = True) -> Schema:
    """Return the schema of one kind of rule; `calls`: whether it has an interval or events of its own."""
    common: dict[str, Schema] = {
        "kind": {"const": kind},
        "id": _TEXT,
        "clause": _TEXT,
        "title": _TEXT,
        "confidence": _sure(),
        "note": _NOTE,
        "scope": _list(_ref("scope")),
    }
    called = {"recurs": _ref("recurs"), "events": _list(_ref("event"))} if calls else {}
    always = ("kind", "id", "clause", "title", "confidence")
    return _object({**common, **called, **own}, required=(*always, *required))


def _without_note(schema: Schema) -> Schema:
    kept = {key: value for key, value in schema["properties"].items() if key != "note"}
    return {**schema, "properties": kept}


def _pressure() -> Schema:
    own = {
        "scope": _list(_ref("scope"), least=1),
        "low": _ref("low"),
        "high": _ref("high"),
        "hold": _ref("hold"),
        "leaves_open": _words(("low", "hold")),
        "acceptance": _TEXT,
    }
    return _without_note(_rule("pressure", own, ("high", "scope")))


def _exempt() -> Schema:
    return _without_note(_rule("exempt", {"reason": _TEXT}, ("reason",), calls=False))


def _drawdown() -> Schema:
    part: dict[str, Schema] = {
        "above_precharge": _QUANTITY,
        "minimum_operating": {"const": True},
        "fixed": _QUANTITY,
    }
    one = {**_object(part), "minProperties": 1, "maxProperties": 1}
    final = {"oneOf": [one, _object({"greatest": _list(one, least=2)}, required=("greatest",))]}
    return _rule("drawdown", {"final": final, "functions": _TEXT}, ("final",))


def _recharge() -> Schema:
    own = {"pumps": _word(Pumps), "within": _QUANTITY, "from": _word(ChargeState), "to": _word(ChargeState)}
    return _rule("recharge", own, own)


def _precharge() -> Schema:
    return _rule("precharge", {"tolerance": _QUANTITY}, ("tolerance",))


def _response() -> Schema:
    own = {
        "movement": _word(Movement),
        "bore_from": _QUANTITY,
        "bore_under": _QUANTITY,
        "within": _QUANTITY,
        "not_slower_than": _word(("fastest-ram",)),
    }
    return _rule("response", own, ("scope",))


def _pump_setting() -> Schema:
    fractions: Schema = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
    own = {
        "duty": _word(PumpDuty),
        "drive": _word(PumpDrive),
        "starts_at_least": _QUANTITY,
        "stops_between": fractions,
        "air_supply": _QUANTITY,
    }
    return _rule("pump-setting", own)


def _schedule() -> Schema:
    four = dict.fromkeys(("working", "lowest", "desired", "highest"), _QUANTITY)
    decline = {"fraction": _QUANTITY, "over": _QUANTITY}
    own = {
        "task": _word(Task),
        "things": _words(THING_LABELS),
        "events": _list(_ref("timed-event")),
        "low": _ref("low"),
        "high": _ref("high"),
        "hold": _ref("hold"),
        "decline": _object(decline, required=decline),
        "bands": _list(_object(four, required=four)),
        "within": _QUANTITY,
        "at_most_every": _INTERVAL,
        "renewed_by": _words(Task),
        "prerequisites": _words(Prerequisite),
        "evidence": _list(_ref("needed")),
        "acceptance": _TEXT,
        "brings_about": _word(_events()),
    }
    about = [{"required": ["scope"]}, {"required": ["things"]}]
    called = [{"required": ["recurs"]}, {"required": ["events"]}]
    return {**_rule("schedule", own, ("task",)), "allOf": [{"anyOf": about}, {"anyOf": called}]}


def _evidence() -> Schema:
    own = {
        "tasks": _words(Task, least=1),
        "things": _words(THING_LABELS),
        "evidence": _list(_ref("needed"), least=1),
    }
    return _rule("evidence", own, ("tasks", "evidence"), calls=False)


def _waiver() -> Schema:
    own = {
        "waives": _list(_TEXT, least=1),
        "conditions": _words(WaiverCondition, least=1),
        "occasions": _words(Occasion),
        "until": _TEXT,
        "events": _list(_ref("timed-event")),
    }
    return _rule("waiver", own, ("waives", "conditions"))


def _postponement() -> Schema:
    own = {"reasons": _words(PostponeReason, least=1), "then": _word(Occasion)}
    return _rule("postponement", own, ("reasons", "then"), calls=False)


_RULES: Final = {
    "pressure": _pressure,
    "exempt": _exempt,
    "drawdown": _drawdown,
    "recharge": _recharge,
    "precharge": _precharge,
    "response": _response,
    "pump-setting": _pump_setting,
    "schedule": _schedule,
    "evidence": _evidence,
    "waiver": _waiver,
    "postponement": _postponement,
}
