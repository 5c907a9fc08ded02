"""What can be function tested on a stack: the components standing in it that are worked, and its control items.

The key of a subject is that of its obligation, see `tests_app.models.Obligation`.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from calcs.rules import Edition, StackKind
from calcs.schedule_rules import ScheduledRule, Task, rules_on
from equipment.models import RAM_KINDS, Component, ComponentKind, ControlItem, Position, Stack
from equipment.models import StackKind as Kind
from equipment.queries.controls import controls_of
from equipment.queries.stacks import as_installed, position_roles
from tests_app.models import Worked
from tests_app.queries.copies import as_tested, quantity

LINE_VALVES: Final = frozenset(
    {ComponentKind.CHOKE_VALVE, ComponentKind.KILL_VALVE, ComponentKind.GATE_VALVE_HYDRAULIC}
)
FUNCTIONED: Final = (
    RAM_KINDS
    | LINE_VALVES
    | {ComponentKind.ANNULAR, ComponentKind.CONNECTOR, ComponentKind.DIVERTER, ComponentKind.SAFETY_VALVE}
)
"""Kinds of component that are worked to see that they work (common practice)."""
BY_HAND: Final = frozenset({ComponentKind.SAFETY_VALVE})
"""Kinds that are worked by hand, from no station."""
CLOSES_ON_SOMETHING: Final = RAM_KINDS | {ComponentKind.ANNULAR, ComponentKind.DIVERTER}
"""Kinds that close on pipe or on open hole."""


@dataclass(frozen=True)
class FunctionSubject:
    """One thing that can be function tested.

    Attributes:
        position: where the component stands; None of a control item.
        component: what stands there.
        installation_pk: since when, by key.
        item: the control item.
        asked: the rules that ask for function tests of it.
    """

    position: Position | None = None
    component: Component | None = None
    installation_pk: int | None = None
    item: ControlItem | None = None
    asked: tuple[ScheduledRule, ...] = ()

    @property
    def key(self) -> str:
        """Return the key of its obligation."""
        if self.item is not None:
            return f"function-test/controlitem-{self.item.pk}"
        return f"function-test/installation-{self.installation_pk}"

    @property
    def name(self) -> str:
        """Return its name, such as Upper pipe ram."""
        return str(self.item.name if self.item is not None else self.position)

    @property
    def detail(self) -> str:
        """Return what it is, such as Pipe ram PR-4471."""
        return str(self.item.get_kind_display() if self.item is not None else self.component)

    @property
    def what(self) -> str:
        """Return its kind as the rules know it."""
        if self.item is not None:
            return str(self.item.kind)
        assert self.component is not None
        return str(self.component.kind)

    @property
    def recurs(self) -> bool:
        """Tell whether a rule asks for it on an interval."""
        return any(rule.recurs is not None for rule in self.asked)

    @property
    def usual(self) -> Worked:
        """Return how it is usually worked: valves of the lines stand closed, preventers open."""
        if self.item is not None:
            return Worked.SEQUENCE
        return Worked.OPEN_CLOSE if self.what in LINE_VALVES else Worked.CLOSE_OPEN


def subjects_of(stack: Stack, edition: Edition | None, *, at: datetime) -> list[FunctionSubject]:
    """Return what could be function tested on a stack at a moment, top of the stack first. Three queries."""
    standings = as_installed(stack, at=at)
    roles = position_roles([one.position for one in standings])
    side = rule_stack(stack)
    found = [
        FunctionSubject(
            position=one.position,
            component=one.component,
            installation_pk=one.installation.pk,
            asked=_asked(edition, one.component.kind, side, roles[one.position.pk]),
        )
        for one in standings
        if one.component is not None and one.installation is not None and one.component.kind in FUNCTIONED
    ]
    items = controls_of(stack, at=at)
    return [*found, *(FunctionSubject(item=item, asked=_asked(edition, item.kind, side, "")) for item in items)]


def rule_stack(stack: Stack) -> StackKind:
    """Return the kind of a stack as the rules know it."""
    return "subsea" if stack.kind == Kind.SUBSEA else "surface"


def named(subjects: Sequence[FunctionSubject], keys: Collection[str]) -> list[FunctionSubject]:
    """Return the subjects of these keys, in their own order."""
    return [one for one in subjects if one.key in keys]


def subject_copy(subject: FunctionSubject) -> dict[str, Any]:
    """Return what is kept of a subject: what it was as it was worked."""
    if subject.item is not None:
        return control_copy(subject.item)
    assert subject.component is not None
    assert subject.position is not None
    return component_copy(subject.component, subject.position)


def component_copy(component: Component, position: Position) -> dict[str, Any]:
    """Return identity, ratings and volumes of a component in its position."""
    return {
        **as_tested(component, position),
        "name": position.name,
        "closing_volume": quantity(component.closing_volume),
        "opening_volume": quantity(component.opening_volume),
    }


def control_copy(item: ControlItem) -> dict[str, Any]:
    """Return what is kept of a control item."""
    return {
        "key": item.pk,
        "kind": item.kind,
        "kind_text": item.get_kind_display(),
        "name": item.name,
        "place": item.place,
        "place_text": item.get_place_display(),
    }


def _asked(edition: Edition | None, what: str, stack: StackKind, position: str) -> tuple[ScheduledRule, ...]:
    return rules_on(edition, Task.FUNCTION, what, stack=stack, position=position) if edition is not None else ()
