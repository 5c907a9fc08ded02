"""Whether the evidence of a test reaches to its conclusion: deadlines count from there, so a late one is an undue gain.

The limits are common practice: rigging down and writing up take hours, not days.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from typing import Final

from calcs.verdicts import duration_in_words
from tests_app.models import Record, Recording, Step
from tests_app.queries.proposals import recorded_seconds

LONGEST_AFTER_LAST: Final = timedelta(hours=6)
"""By how much a test may conclude after its last hold or recording, by their clocks."""
LONGEST_UNCLOCKED: Final = timedelta(hours=24)
"""How long a test may last when nothing of it tells the time."""
_WORDS: Final = "last hold"


def late_conclusion(
    record: Record, files: Iterable[Recording], steps: Sequence[Step]
) -> Iterator[tuple[str, str, str, bool]]:
    """Ask when the last hold ended (field, reason, remedy, blocks) of a test concluded long after what accounts for it.

    Recordings with a clock and readings typed in account for its time; remarks that tell when the last hold ended do.
    """
    if record.concluded_at is None or _WORDS in " ".join(record.remarks.casefold().split()):
        return
    standing = [one for one in files if one.withdrawn_at is None]
    accounted = _last_by_clock(standing, steps)
    if accounted is not None:
        late = record.concluded_at - accounted
        if late > LONGEST_AFTER_LAST and "clock" not in record.remarks.casefold():
            told = f"The test concluded {_said(late)} after its last hold or recording ended, by their clocks."
            yield "concluded_at", told, _REMEDY, True
        return
    lasted, recorded = record.concluded_at - record.started_at, recorded_seconds(standing)
    if steps and lasted > LONGEST_UNCLOCKED and recorded < lasted.total_seconds() / 2:
        told = (
            f"The test lasted {_said(lasted)}, and its recordings, which have no clock, {duration_in_words(recorded)}."
        )
        yield "concluded_at", told, _REMEDY, True


_REMEDY: Final = (
    "When did the last hold end? Correct the conclusion: deadlines count from it. If it is right, attach the other "
    "recordings, or say in the remarks when the last hold ended, with the words “last hold”: the certificate prints "
    "that."
)


def _last_by_clock(files: Iterable[Recording], steps: Iterable[Step]) -> datetime | None:
    ends = [datetime.fromisoformat(one.facts["ended_at"]) for one in files if one.facts.get("ended_at")]
    ends += [step.concluded_at for step in steps if step.concluded_at is not None]
    return max(ends, default=None)


def _said(span: timedelta) -> str:
    hours = round(span.total_seconds() / 3600)
    return f"{hours} hours" if hours < 48 else f"{hours // 24} days"
