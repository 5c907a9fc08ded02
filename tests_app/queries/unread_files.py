"""Recorder files that are on record and not read yet: a column to be chosen, or holds to be looked for."""

from collections.abc import Iterable, Iterator, Sequence

from tests_app.models import Evidence, Record, Recording, Step


def open_steps(record: Record) -> list[int]:
    """Return the numbers of the steps that have no evidence."""
    return list(record.steps.filter(evidence=Evidence.NONE).order_by("order").values_list("order", flat=True))


def unread(files: Iterable[Recording], steps: Sequence[Step]) -> Iterator[tuple[str, str, str]]:
    """Yield for each file not read yet what it is about, what is missing, and what to do."""
    for file in files:
        if file.withdrawn_at is not None:
            continue
        if file.awaits_channel:
            yield (
                f"file-{file.pk}",
                f"{file} has several pressure columns, and none is chosen: nothing is judged by it.",
                "Choose the column the test was recorded on, or set the file aside.",
            )
        elif file.awaits_search and steps:
            yield (
                f"file-{file.pk}",
                f"{file} is not searched for holds yet.",
                "Search it, now that the test has steps.",
            )
