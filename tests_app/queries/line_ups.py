"""What one line-up can show at all: which elements a hold from one side proves together, and on which pipe."""

from equipment.models import RAM_KINDS
from tests_app.models import Line, Step

PREVENTERS = RAM_KINDS | {"annular"}
"""Kinds that close the bore of the stack."""
BLIND = frozenset({"blind-ram", "blind-shear-ram"})
"""Kinds that close on no pipe (common practice)."""


def blind_on_pipe(step: Step) -> Line | None:
    """Return the line of a ram that closes on no pipe while pipe stands in the hole and no remark explains it."""
    heading = step.record.pressure_test
    if heading.pipe_in_hole is None or "pipe" in step.remarks.casefold():
        return None
    return next((line for line in step.lines.all() if line.component.kind in BLIND), None)
