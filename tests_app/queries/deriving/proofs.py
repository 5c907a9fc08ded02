"""The rig's records and what they proved, read in few columns: years of sealed contents and curves are left alone."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final, NamedTuple

from django.db.models import Q

from equipment.models import Rig
from tests_app.models import Line, Outcome, Record, RecordKind, TestReason
from tests_app.queries.deriving.scope import Scope


class Proof(NamedTuple):
    """A record, as far as a date hangs on it; `sealed_at` is None while it was not known to be sealed."""

    pk: int
    started_at: datetime
    concluded_at: datetime | None
    sealed_at: datetime | None
    created_at: datetime
    supersedes_id: int | None
    section_id: int | None
    stack_id: int
    kind: str
    passed: bool | None
    barrier: str | None
    control_station: str | None
    pod: str | None
    reason: str | None

    @property
    def begun_at(self) -> datetime:
        """Return since when it may count as running: no earlier than it was opened here.

        Until it is sealed nothing bears a start of before out, and it would put off what is overdue.
        """
        return max(self.started_at, self.created_at)

    @property
    def over_at(self) -> datetime:
        """Return when a sealed record's test was over."""
        assert self.concluded_at is not None  # the database lets no record be sealed without it
        return self.concluded_at


class ProofLine(NamedTuple):
    """One element a step proved."""

    component_id: int
    position_id: int
    pressure_from: str
    outcome: str
    held: float
    order: int
    record_id: int


_LINE: Final = (
    "component_id",
    "position_id",
    "pressure_from",
    "outcome",
    "required_high_si",
    "step__order",
    "step__record_id",
)
_HEADING: Final = tuple(f"pressure_test__{name}" for name in ("barrier", "control_station", "pod", "reason"))


@dataclass(frozen=True)
class Proofs:
    """Every record of a rig that was not discarded, by key, and the chain of corrections between them."""

    records: dict[int, Proof]
    corrected_by: dict[int, int]

    @classmethod
    def of(cls, rig: Rig, *, known_at: datetime | None, since: datetime | None = None) -> "Proofs":
        """Read them. One query. With `known_at` as they stood then: drafts opened and seals set by that moment.

        With `since` pressure and function tests over before then are left out, but for corrections, which lead from
        one record to another, and the tests that tell when the stack was landed or on the stump.
        """
        kept = Q(discarded_at__isnull=True)
        if known_at is not None:
            kept = (kept | Q(discarded_at__gt=known_at)) & Q(created_at__lte=known_at)
        columns = (*Proof._fields[: -len(_HEADING)], *_HEADING)
        rows = Record.objects.filter(kept, _of_late(since), rig=rig).order_by().values_list(*columns)
        found = (Proof(*row) for row in rows.iterator(chunk_size=5_000))
        records = {one.pk: _as_known(one, known_at) for one in found}
        links = {one.supersedes_id: one.pk for one in records.values() if one.supersedes_id is not None}
        return cls(records, links)

    def is_corrected(self, proof: Proof) -> bool:
        """Tell whether a sealed record stands in place of this one."""
        return any(later.sealed_at is not None for later in self._along(proof.pk))

    def is_being_tested(self, proof: Proof) -> bool:
        """Tell whether it is a test not sealed yet: the correction of a sealed one tests nothing anew."""
        if proof.sealed_at is not None or proof.pk in self.corrected_by:
            return False
        return all(earlier.sealed_at is None for earlier in self._before(proof))

    def _along(self, pk: int) -> Iterator[Proof]:
        while (later := self.corrected_by.get(pk)) is not None:
            pk = later
            yield self.records[pk]

    def _before(self, proof: Proof) -> Iterator[Proof]:
        key = proof.supersedes_id
        while key is not None and key in self.records:
            earlier = self.records[key]
            yield earlier
            # What a sealed one corrects in its turn counts no more.
            key = earlier.supersedes_id if earlier.sealed_at is None else None


def _of_late(since: datetime | None) -> Q:
    if since is None:
        return Q()
    linked = Q(supersedes__isnull=False) | Q(superseded_by__isnull=False)
    placing = Q(pressure_test__reason__in=(TestReason.LANDED, TestReason.STUMP))
    lasting = ~Q(kind__in=(RecordKind.PRESSURE, RecordKind.FUNCTION))
    return Q(sealed_at__isnull=True) | Q(concluded_at__gte=since) | linked | placing | lasting


def _as_known(proof: Proof, known_at: datetime | None) -> Proof:
    later = known_at is not None and proof.sealed_at is not None and proof.sealed_at > known_at
    return proof._replace(sealed_at=None) if later else proof


@dataclass(frozen=True)
class Proved:
    """What one record says of one subject: its final lines, or the one outcome of a test of a bank."""

    proof: Proof
    passed: bool
    lines: tuple[ProofLine, ...] = ()


def since_then(record: str, since: datetime | None) -> Q:
    """Return the condition on rows whose `record` was over after a moment, or is not signed yet."""
    if since is None:
        return Q()
    return Q(**{f"{record}__sealed_at__isnull": True}) | Q(**{f"{record}__concluded_at__gte": since})


def pressure_proofs(rig: Rig, scope: Scope, proofs: Proofs, *, since: datetime | None) -> dict[int, list[Proved]]:
    """Return by component what each record proved of it, the corrected ones left out. One query."""
    asked = scope.of_components("component") & since_then("step__record", since)
    rows = Line.objects.filter(asked, step__record__rig=rig).order_by()
    found: dict[tuple[int, int], list[ProofLine]] = defaultdict(list)
    for row in rows.values_list(*_LINE).iterator(chunk_size=5_000):
        line = ProofLine(*row)
        found[line.component_id, line.record_id].append(line)
    proved: dict[int, list[Proved]] = defaultdict(list)
    for (component, record), lines in found.items():
        proof = proofs.records.get(record)
        if proof is not None and not proofs.is_corrected(proof):
            last = tuple(final(lines))
            passed = all(line.outcome == Outcome.PASSED for line in last)
            proved[component].append(Proved(proof, passed, last))
    return proved


def final(lines: Iterable[ProofLine]) -> Iterable[ProofLine]:
    """Return of each element and side the line of the last step that proves it: a retest replaces what failed."""
    last: dict[tuple[int, str], ProofLine] = {}
    for line in sorted(lines, key=lambda line: line.order):
        last[line.position_id, line.pressure_from] = line
    return last.values()


@dataclass(frozen=True, slots=True)
class Standing:
    """How far a subject got by a moment: its last pass, what failed since, the draft that tests it."""

    last_record: int | None = None
    last_done_at: datetime | None = None
    failed_record: int | None = None
    draft: int | None = None


def standing_of(proved: Iterable[Proved], proofs: Proofs, at: datetime) -> Standing:
    """Return how far a subject got by `at`."""
    known = list(proved)
    sealed = [one for one in known if one.proof.sealed_at and one.proof.over_at <= at]
    last = max((one.proof for one in sealed if one.passed), key=lambda proof: proof.over_at, default=None)
    failing = [one.proof for one in sealed if not one.passed and (last is None or one.proof.over_at > last.over_at)]
    failed = max(failing, key=lambda proof: proof.over_at, default=None)
    running = [one.proof for one in known if proofs.is_being_tested(one.proof) and one.proof.started_at <= at]
    draft = max(running, key=lambda proof: proof.started_at, default=None)
    return Standing(
        last_record=last.pk if last else None,
        last_done_at=last.over_at if last else None,
        failed_record=failed.pk if failed else None,
        draft=draft.pk if draft else None,
    )


ByComponent = Mapping[int, list[Proved]]
