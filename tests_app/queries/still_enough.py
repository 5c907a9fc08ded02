"""Whether what a test was held at is enough today: ratings, sections, approvals and rules change after it."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Final

from calcs.errors import InputError
from equipment.errors import Refused
from equipment.models import HoleSection
from equipment.queries.stacks import Standing
from tests_app.models import Barrier
from tests_app.queries.requirements import Circumstances, high_needed
from tests_app.queries.verdicts import wording_for

ROUNDING: Final = 1e-6
"""Relative; what was required once in psi and now again is the same pressure."""


@dataclass
class StillEnough:
    """What one element must be held at as things stand, asked for once a side, barrier and section.

    Attributes:
        standing: the element and what stands in it.
        under: the circumstances of the usual test today.
        unknown: why what is needed can't be worked out for some test, in words; empty where it could be.
    """

    standing: Standing
    under: Circumstances
    unknown: str = ""
    _needed: dict[tuple[str, str, int | None], float | None] = field(default_factory=dict)

    def shortfall(self, sides: Iterable[tuple[str, float]], *, barrier: str | None, section: HoleSection | None) -> str:
        """Return how a passing test falls short of what is needed now, in words; empty where it is enough.

        `sides` are the sides pressed on with the pressure held, gauge in Pa; `section` the one it was made for. A
        figure missing today takes nothing from a test: the reason is kept in `unknown`. Raises Refused where the
        component's own rating is not on file, since then nothing can be said at all.
        """
        for side, held in sides:
            needed = self._needed_for(side, barrier, section)
            if needed is not None and held < needed * (1 - ROUNDING):
                said = wording_for(self.under.stack.rig)
                return f"held at {said.pressure(held, beside=needed)}, {said.pressure(needed)} is needed now"
        return ""

    def _needed_for(self, side: str, barrier: str | None, made_for: HoleSection | None) -> float | None:
        # Against casing or a cup the casing limits the test, whatever the rating: the same way of testing is compared.
        barrier = barrier if barrier in (Barrier.NONE, Barrier.CUP) else Barrier.PLUG
        section = self.under.section or made_for
        key = (side, barrier, section.pk if section else None)
        if key not in self._needed:
            self._needed[key] = self._worked(side, replace(self.under, barrier=barrier, section=section))
        return self._needed[key]

    def _worked(self, side: str, under: Circumstances) -> float | None:
        component = self.standing.component
        try:
            return high_needed(self.standing, side, under=under)
        except (InputError, Refused) as error:
            if component is None or component.rated_working_pressure is None:
                raise
            self.unknown = f"Whether its pressure is still enough can not be worked out: {error}"
            return None
