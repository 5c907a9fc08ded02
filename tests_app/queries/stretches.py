"""Whether what proves a step proves another one already: one recording, one step, however the file is called."""

from collections.abc import Iterable
from typing import Any

from django.db.models import Q, QuerySet
from django.db.models.fields.json import KeyTransform

from calcs.stretches import are_alike
from tests_app.models import Evidence, Record, Recording, RecordingKind, Step
from tests_app.queries.corrections import earlier_of

_KEY = "stretch"


def judged_on_before(record: Record, steps: Iterable[Step]) -> dict[int, Step]:
    """Return for each step of a draft, by its key, another step of the rig that rests on the same samples.

    Steps of the records it corrects, of superseded and discarded records, and of files set aside don't count. One
    query beside those that follow a correction back; records judged before fingerprints were kept have none.
    """
    asked = {step.pk: (step, _marks(step.verdict)) for step in steps if _marks(step.verdict)}
    if not asked:
        return {}
    found: dict[int, Step] = {}
    others = list(_resting_on(record, [marks for _, marks in asked.values()]))
    for pk, (step, marks) in asked.items():
        for other in others:
            same_file = other.recording_id == step.recording_id  # whose stretches are told apart by their times
            if other.pk != pk and not same_file and are_alike(marks, _marks({_KEY: other.kept_stretch})):
                found.setdefault(pk, other)
    return found


def named(step: Step, record: Record) -> str:
    """Name a step beside a record: with its test where that is another one."""
    return str(step) if step.record_id == record.pk else f"{step} of test {step.record.number}"


def file_elsewhere(record: Record, recording: Recording, channel: str) -> Recording | None:
    """Return the same file, and column, of another test of the rig, which stands; None where there is none."""
    same = Recording.objects.filter(
        record__rig_id=record.rig_id,
        kind=RecordingKind.SAMPLES,
        sha256=recording.sha256,
        channel=channel,
        withdrawn_at__isnull=True,
        record__discarded_at__isnull=True,
    )
    standing = same.exclude(record__superseded_by__sealed_at__isnull=False).exclude(
        record__in={record.pk, *earlier_of(record)}
    )
    return standing.select_related("record", "step").defer("curve").order_by("pk").first()


def _resting_on(record: Record, asked: list[tuple[str, ...]]) -> QuerySet[Step, Any]:
    shared = Q()
    for place in range(len(asked[0])):
        shared |= Q(**{f"verdict__{_KEY}__{place}__in": [marks[place] for marks in asked]})
    return (
        Step.objects.filter(
            shared,
            record__rig_id=record.rig_id,
            evidence=Evidence.RECORDING,
            record__discarded_at__isnull=True,
            recording__withdrawn_at__isnull=True,
        )
        .exclude(record__superseded_by__sealed_at__isnull=False)
        .exclude(record__in=earlier_of(record))
        .select_related("record")
        .annotate(kept_stretch=KeyTransform(_KEY, "verdict"))
        .defer("verdict")
        .order_by("record__number", "order")
    )


def _marks(verdict: Any) -> tuple[str, ...]:
    return tuple((verdict or {}).get(_KEY) or ())
