"""What the key of an obligation stands for: the thing itself, what the rig's rules ask of it, since when it exists."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final, cast

from django.db.models import Model

from calcs.rules import StackKind
from calcs.schedule_rules import Evidence, Needed, ScheduledRule, Task, evidence_for, rules_on
from equipment.errors import NotYours
from equipment.models import (
    NOT_PRESSURE_TESTED,
    Bank,
    Component,
    ControlItem,
    Document,
    Elastomer,
    HoleSection,
    Installation,
    Instrument,
    Rig,
    Stack,
)
from equipment.queries.access import rig_of
from tests_app.errors import NoRules
from tests_app.models import Obligation, What
from tests_app.queries.phases import beginning_of
from tests_app.queries.requirements import edition_of

TASKS: Final[Mapping[str, Task]] = {
    What.PRESSURE: Task.PRESSURE,
    What.FUNCTION: Task.FUNCTION,
    What.DRAWDOWN: Task.DRAWDOWN,
    What.PUMP: Task.RECHARGE,
    What.PRECHARGE: Task.PRECHARGE,
    What.CASING: Task.CASING,
    What.INSPECTION: Task.INSPECTION,
    What.OVERHAUL: Task.OVERHAUL,
    What.ELASTOMER: Task.ELASTOMER,
    What.CALIBRATION: Task.CALIBRATION,
    What.DOCUMENT: Task.DOCUMENT,
    What.DRILL: Task.DRILL,
    What.NOTICE: Task.NOTICE,
    What.REPORT: Task.REPORT,
}
_OF_RIG: Final[Mapping[str, tuple[str, ...]]] = {
    What.DRILL: ("crew",),
    What.CASING: ("casing", "conductor"),
}
_PAPERS: Final[tuple[Evidence, ...]] = (
    Evidence.REPORT,
    Evidence.THIRD_PARTY_STATEMENT,
    Evidence.CERTIFICATE,
    Evidence.CHART,
    Evidence.ROV_RECORD,
)
"""Evidence that is a paper; the rest is said by the entry itself or was seen to."""
_ALWAYS_ON_PAPER: Final = frozenset({What.CALIBRATION, What.DOCUMENT})
"""What has no meaning without its paper, whatever the rules say (common practice)."""

ENTERED_AS_WORK: Final = frozenset(
    {
        What.CASING,
        What.INSPECTION,
        What.OVERHAUL,
        What.ELASTOMER,
        What.CALIBRATION,
        What.DOCUMENT,
        What.DRILL,
        What.NOTICE,
        What.REPORT,
    }
)
"""What is entered as work done, whatever it is done on."""


@dataclass(frozen=True, kw_only=True)
class Owed:
    """One obligation's subject.

    Attributes:
        rig: the rig.
        key: the key of the obligation.
        what: what has to be done.
        row: what it is to be done on.
        subject: its name, such as Upper pipe ram.
        detail: more of it, such as Pipe ram PR-4471.
        since: before this it was not there, None where that is not on file.
        stack: the stack it stands in, if any.
        component: the component, if it is one or part of one.
        rules: what the rig's rules ask of it for this, the one it is listed by first; empty where they say nothing.
        evidence: what has to be shown.
        edition: id of the edition; empty while the rig has no rules.
    """

    rig: Rig
    key: str
    what: What
    row: Model
    subject: str
    detail: str = ""
    since: datetime | None = None
    stack: Stack | None = None
    component: Component | None = None
    rules: tuple[ScheduledRule, ...] = ()
    evidence: tuple[Needed, ...] = ()
    edition: str = ""

    @property
    def name(self) -> str:
        """Return what it is done on, as an entry keeps it."""
        return (f"{self.subject} ({self.detail})" if self.detail else self.subject)[:160]

    @property
    def rule(self) -> ScheduledRule | None:
        """Return the rule it is listed by."""
        return self.rules[0] if self.rules else None

    @property
    def papers(self) -> tuple[Evidence, ...]:
        """Return the papers that have to be attached."""
        asked: list[Evidence] = [one.what for one in self.evidence if one.what in _PAPERS]
        if self.what in _ALWAYS_ON_PAPER:
            asked.append(Evidence.CERTIFICATE)
        return tuple(dict.fromkeys(asked))

    @property
    def is_pressure_held(self) -> bool:
        """Tell whether a pressure is held in it: on casing, a diverter or a connection."""
        return self.what in (What.PRESSURE, What.CASING)


def owed_on(rig: Rig, key: str) -> Owed:
    """Return what a key of the rig stands for; raises NotYours where there is no such thing on the rig."""
    bare = _bare(rig, key)
    stored = Obligation.objects.filter(rig=rig, key=key).only("subject", "subject_detail", "rule_id").first()
    if stored is not None:
        bare = replace(bare, subject=stored.subject, detail=stored.subject_detail)
    return _with_rules(bare, stored.rule_id if stored else "")


_KEY: Final = re.compile(r"([a-z-]{1,16})/([a-z]{1,20})-([0-9]{1,18})")


def _bare(rig: Rig, key: str) -> Owed:
    found = _KEY.fullmatch(key)
    if found is None or found[1] not in What.values or found[2] not in _READERS:
        raise NotYours("There is nothing here.")
    row = _READERS[found[2]](int(found[3]))
    if row is None or (row if isinstance(row, Rig) else rig_of(row)) != rig:
        raise NotYours("There is nothing here.")
    return Owed(rig=rig, key=key, what=What(found[1]), row=row, **_told(row, What(found[1]), rig))


def _reader(model: type[Any], *related: str) -> Callable[[int], Model | None]:
    def read(key: int) -> Model | None:
        rows = model.objects.select_related(*related) if related else model.objects.all()
        found: Model | None = rows.filter(pk=key).first()
        return found

    return read


_READERS: Final[Mapping[str, Callable[[int], Model | None]]] = {
    "rig": _reader(Rig),
    "stack": _reader(Stack, "rig"),
    "lmrp": _reader(Stack, "rig"),
    "installation": _reader(Installation, "component__rig", "position__stack__rig"),
    "component": _reader(Component, "rig"),
    "bank": _reader(Bank, "component__rig"),
    "controlitem": _reader(ControlItem, "stack__rig"),
    "instrument": _reader(Instrument, "rig"),
    "document": _reader(Document, "component__rig", "instrument__rig"),
    "elastomer": _reader(Elastomer, "component__rig"),
    "holesection": _reader(HoleSection, "well__rig"),
}


def _told(row: Model, what: What, rig: Rig) -> dict[str, Any]:
    """Return what is known of the thing itself."""
    match row:
        case Installation():
            component, stack = row.component, row.position.stack
            since = _built(component, rig) if what == What.OVERHAUL else row.installed_at
            return {
                "subject": row.position.name,
                "detail": str(component),
                "since": since,
                "stack": stack,
                "component": component,
            }
        case Component():
            return {"subject": str(row), "since": _built(row, rig), "component": row}
        case Bank():
            return {"subject": str(row.component), "since": _built(row.component, rig), "component": row.component}
        case ControlItem():
            return {"subject": row.name, "since": row.in_service_from, "stack": row.stack}
        case Elastomer():
            fitted = beginning_of(row.installed_on, rig.zone)
            return {"subject": row.part, "detail": str(row.component), "since": fitted, "component": row.component}
        case Document():
            issued = beginning_of(row.issued_on, rig.zone) if row.issued_on else None
            return {"subject": str(row), "detail": str(row.component or row.instrument), "since": issued}
        case HoleSection():
            return {"subject": f"Casing above {row.name}", "detail": row.well.name}
        case Stack():
            return {"subject": row.name, "stack": row}  # of its riser package the stored row says the name
        case Rig() if what == What.DRILL:
            return {"subject": "Each crew"}
    return {"subject": str(row)}


def _built(component: Component, rig: Rig) -> datetime | None:
    return beginning_of(component.manufactured_on, rig.zone) if component.manufactured_on else None


def _with_rules(owed: Owed, listed_by: str) -> Owed:
    """Return it with what the rig's rules ask, the rule it is listed by first."""
    try:
        edition = edition_of(owed.rig)
    except NoRules:
        return owed
    task = TASKS.get(owed.what)
    if task is None:
        return replace(owed, edition=edition.id)
    kind = cast(StackKind, owed.stack.kind if owed.stack else "surface")
    things = _things(owed)
    rules = [rule for thing in things for rule in rules_on(edition, task, thing, stack=kind)]
    rules.sort(key=lambda rule: (rule.id != listed_by, rule.recurs is None, _days(rule), rule.id))
    asked = [need for rule in rules[:1] for need in rule.evidence]
    asked += [
        need for thing in things for rule in evidence_for(edition, task, thing, stack=kind) for need in rule.evidence
    ]
    return replace(
        owed,
        rules=tuple(dict.fromkeys(rules)),
        evidence=tuple(dict.fromkeys(asked)),
        edition=edition.id,
    )


def _things(owed: Owed) -> tuple[str, ...]:
    """Return how rules name the subject: a kind of component, or what they have beside components."""
    match owed.row:
        case Installation() | Component() if owed.component is not None:
            return (owed.component.kind,)
        case ControlItem():
            return (owed.row.kind,)
        case Bank():
            return ("accumulators",)
        case Instrument():
            return ("instrument",)
        case Document():
            return ("document",)
        case HoleSection():
            return ("casing", "conductor")
        case Stack() if "/lmrp-" in owed.key:
            return ("lmrp",)
        case Stack():
            return ("bop-system", "wellhead-connection")
    return _OF_RIG.get(owed.what, ("bop-system",))


def _days(rule: ScheduledRule) -> float:
    return rule.recurs.interval.roughly_days if rule.recurs else float("inf")


def is_entered_as_work(owed: Owed) -> bool:
    """Tell whether it is entered as work done; other tests have records of their own."""
    if owed.what == What.PRESSURE:
        return isinstance(owed.row, Stack) or (
            owed.component is not None and owed.component.kind in NOT_PRESSURE_TESTED
        )
    if owed.what == What.FUNCTION:
        return isinstance(owed.row, Stack)
    return owed.what in ENTERED_AS_WORK
