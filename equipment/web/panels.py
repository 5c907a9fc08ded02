"""What other applications add to the pages of equipment: for display only, never for behaviour.

An application registers in the `ready()` of its configuration; the order of registering is the order shown.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Generic, TypeVar

from django.http import HttpRequest
from django.utils.safestring import SafeString

from equipment.models import Bank, Component, ControlItem, Stack

Contribution = TypeVar("Contribution", bound=Callable[..., object])


@dataclass(frozen=True)
class StateMark:
    """How a position stands, for the elevation drawing and its table.

    Attributes:
        word: the state in words, such as "Due soon".
        shape: key of the drawing in `accounts.presentation.STATES`, such as ``due-soon``.
        tone: good, soon, now, bad, busy or calm.
        detail: one short line more, such as the date; may be empty.
        short: the state in a word or two, for where `word` has no room.
    """

    word: str
    shape: str
    tone: str
    detail: str = ""
    short: str = ""


class Registry(Generic[Contribution]):
    """Contributions in the order they were registered; registering one again changes nothing."""

    def __init__(self) -> None:
        self._contributions: list[Contribution] = []

    def register(self, contribution: Contribution) -> Contribution:
        """Add a contribution and return it, so that it can serve as a decorator."""
        if contribution not in self._contributions:
            self._contributions.append(contribution)
        return contribution

    def unregister(self, contribution: Contribution) -> None:
        """Take a contribution out again."""
        self._contributions.remove(contribution)

    def __iter__(self) -> Iterator[Contribution]:
        return iter(tuple(self._contributions))


ComponentPanel = Callable[[HttpRequest, Component], SafeString | None]
BankPanel = Callable[[HttpRequest, Bank], SafeString | None]
ControlPanel = Callable[[HttpRequest, ControlItem], SafeString | None]
PositionStates = Callable[[Stack, datetime], Mapping[int, StateMark]]

component: Registry[ComponentPanel] = Registry()
"""Each gives a part of the component's page, or None when it has nothing to say."""
bank: Registry[BankPanel] = Registry()
"""Each gives a part of the page of a bank, or None when it has nothing to say."""
control: Registry[ControlPanel] = Registry()
"""Each gives a part of the page of a control item, or None when it has nothing to say."""
position_state: Registry[PositionStates] = Registry()
"""Each gives the state of positions of a stack at a moment, by the position's key; the last one to speak counts."""


def component_parts(request: HttpRequest, shown: Component) -> list[SafeString]:
    """Return what the applications add to the page of a component."""
    parts = (panel(request, shown) for panel in component)
    return [part for part in parts if part]


def bank_parts(request: HttpRequest, shown: Bank) -> list[SafeString]:
    """Return what the applications add to the page of a bank."""
    parts = (panel(request, shown) for panel in bank)
    return [part for part in parts if part]


def control_parts(request: HttpRequest, shown: ControlItem) -> list[SafeString]:
    """Return what the applications add to the page of a control item."""
    parts = (panel(request, shown) for panel in control)
    return [part for part in parts if part]


def states_of(stack: Stack, at: datetime) -> dict[int, StateMark]:
    """Return the state of each position that some application knows one for."""
    found: dict[int, StateMark] = {}
    for states in position_state:
        found.update(states(stack, at))
    return found
