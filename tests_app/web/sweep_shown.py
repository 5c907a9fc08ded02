"""When the alert sweep last looked, as the due list and the fleet board say it; late, it is a warning."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from equipment.models import Rig
from tests_app.models import SweepMark
from tests_app.queries.alerts import is_late, sweep_mark, sweep_marks


@dataclass(frozen=True)
class SweepShown:
    """What the part `tests_app/parts/sweep.html` shows of one rig.

    Attributes:
        rig: the rig.
        mark: the last sweep, None when there was none.
        is_late: whether it is too long ago, never came, or broke off since.
    """

    rig: Rig
    mark: SweepMark | None
    is_late: bool


def sweep_shown(rig: Rig, at: datetime) -> dict[str, Any]:
    """Return the context of `tests_app/parts/sweep.html` for a page of one rig. One query."""
    return {"sweep": _shown(rig, sweep_mark(rig), at)}


def late_sweeps(rigs: Sequence[Rig], at: datetime) -> dict[str, Any]:
    """Return the context of `tests_app/parts/sweeps_late.html` for a page over rigs. One query."""
    marks = sweep_marks(rigs)
    shown = [_shown(rig, marks.get(rig.pk), at) for rig in rigs]
    return {"sweeps_late": [one for one in shown if one.is_late], "sweeps_shown": len(shown)}


def _shown(rig: Rig, mark: SweepMark | None, at: datetime) -> SweepShown:
    return SweepShown(rig, mark, is_late(mark, at))
