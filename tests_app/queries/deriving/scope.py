"""What of a rig is worked out: all of it, or what one event can have changed."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from django.db.models import Q

from tests_app.models import What


@dataclass(frozen=True, slots=True)
class Scope:
    """The subjects asked for, by key; `everything` asks for the whole rig.

    Attributes:
        components: with what stands on them: their tests, work, papers, elastomers and bank.
        control_items: parts of the control system.
        instruments: with their calibration and papers.
        stacks: what is owed on a stack as a whole.
        rig_itself: what is owed on the rig as a whole, and on its wells.
        whats: what has to be done on them; None for all.
    """

    components: frozenset[int] = frozenset()
    control_items: frozenset[int] = frozenset()
    instruments: frozenset[int] = frozenset()
    stacks: frozenset[int] = frozenset()
    rig_itself: bool = False
    everything: bool = False
    whats: frozenset[What] | None = None

    @classmethod
    def of(
        cls,
        *,
        components: Iterable[int | None] = (),
        control_items: Iterable[int | None] = (),
        instruments: Iterable[int | None] = (),
        stacks: Iterable[int | None] = (),
        whats: Iterable[What] | None = None,
    ) -> "Scope":
        """Return the scope of some keys; those that are none are left out."""
        found = cls(_keys(components), _keys(control_items), _keys(instruments), _keys(stacks))
        return found.narrowed(whats)

    @property
    def is_empty(self) -> bool:
        """Tell whether it asks for nothing."""
        return not (self.everything or self.rig_itself or self._named)

    @property
    def _named(self) -> frozenset[int]:
        return self.components | self.control_items | self.instruments | self.stacks

    def __or__(self, other: "Scope") -> "Scope":
        """Return both together."""
        return Scope(
            self.components | other.components,
            self.control_items | other.control_items,
            self.instruments | other.instruments,
            self.stacks | other.stacks,
            self.rig_itself or other.rig_itself,
            self.everything or other.everything,
            None if self.whats is None or other.whats is None else self.whats | other.whats,
        )

    def narrowed(self, whats: Iterable[What] | None) -> "Scope":
        """Return the same subjects, with only that to be done on them."""
        return self if whats is None else replace(self, whats=frozenset(whats))

    def asks(self, what: What) -> bool:
        """Tell whether it is asked for."""
        return self.whats is None or what in self.whats

    def of_components(self, path: str) -> Q:
        """Return the condition on rows whose `path` leads to a component."""
        return Q() if self.everything else Q(**{f"{path}__in": self.components})

    def of_instruments(self, path: str) -> Q:
        """Return the condition on rows whose `path` leads to an instrument."""
        return Q() if self.everything else Q(**{f"{path}__in": self.instruments})

    def of_control_items(self, path: str) -> Q:
        """Return the condition on rows whose `path` leads to a control item."""
        return Q() if self.everything else Q(**{f"{path}__in": self.control_items})

    def has_component(self, key: int) -> bool:
        """Tell whether a component is asked for."""
        return self.everything or key in self.components

    def has_stack(self, key: int) -> bool:
        """Tell whether a stack as a whole is asked for."""
        return self.everything or key in self.stacks

    @property
    def has_rig(self) -> bool:
        """Tell whether the rig as a whole is asked for."""
        return self.everything or self.rig_itself


def _keys(given: Iterable[int | None]) -> frozenset[int]:
    return frozenset(key for key in given if key)


EVERYTHING = Scope(everything=True)
