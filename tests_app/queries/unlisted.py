"""Parts of the control system the rules ask to be tested and that are not on file: nothing of them can be due."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Final, cast

from calcs.rules import Edition, StackKind
from calcs.schedule_rules import Evidence, ScheduledRule, Task, rules_on
from equipment.models import ControlItem, ControlKind, Installation, Rig, Stack
from equipment.queries.controls import in_service_at
from equipment.queries.stacks import standing_at
from tests_app.errors import NoRules
from tests_app.queries.rules_followed import edition_at

_OF_EACH: Final = {Evidence.EACH_STATION: ControlKind.STATION, Evidence.EACH_POD: ControlKind.POD}
"""Evidence that speaks of each of several of a kind: one of them on file is not all of them."""


@dataclass(frozen=True, slots=True)
class Unlisted:
    """A kind of control item a stack's rules ask to be tested, of which too few are on file.

    Attributes:
        stack: the stack.
        kind: of control item.
        rules: what asks for it.
        on_file: how many of the kind are in service: one, where the rules speak of each of several, else none.
    """

    stack: Stack
    kind: ControlKind
    rules: tuple[ScheduledRule, ...]
    on_file: int

    @property
    def words(self) -> str:
        """Return what is missing, in words."""
        return f"A second {self.kind.label.lower()}" if self.on_file else self.kind.label

    @property
    def clauses(self) -> str:
        """Return the clauses that ask for it, as figures cite several."""
        return "; ".join(dict.fromkeys(rule.clause for rule in self.rules))


def unlisted_controls(rig: Rig, *, at: datetime) -> list[Unlisted]:
    """Return what is missing on the stacks that stood on the rig; nothing on a rig without rules. Three queries."""
    try:
        edition = edition_at(rig, at=at)
    except NoRules:
        return []
    standing = Installation.objects.filter(standing_at(at), position__stack__rig=rig)
    stacks = list(Stack.objects.filter(pk__in=standing.values("position__stack")).order_by("pk"))
    counts: dict[tuple[int, str], int] = {}
    for item in ControlItem.objects.filter(in_service_at(at), stack__in=stacks).only("stack", "kind"):
        counts[item.stack_id, item.kind] = counts.get((item.stack_id, item.kind), 0) + 1
    return [one for stack in stacks for one in _missing(stack, edition, counts)]


def _missing(stack: Stack, edition: Edition, counts: dict[tuple[int, str], int]) -> Iterator[Unlisted]:
    for kind in ControlKind:
        rules = rules_on(edition, Task.FUNCTION, kind.value, stack=cast(StackKind, stack.kind))
        several = any(_OF_EACH.get(need.what) == kind for rule in rules for need in rule.evidence)
        on_file = counts.get((stack.pk, kind.value), 0)
        if rules and on_file < (2 if several else 1):
            yield Unlisted(stack, kind, rules, on_file)
