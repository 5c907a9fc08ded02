"""Every obligation of a rig, worked out from what happened: a family of them a module, all put together here."""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from typing import Final, Protocol

from calcs.kept_events import last_pass
from equipment.models import Rig
from tests_app.models import Record, What
from tests_app.queries.deriving.banks import bank_tests
from tests_app.queries.deriving.derived import Derived, Requirement, Subject
from tests_app.queries.deriving.facts import RigFacts
from tests_app.queries.deriving.functions import function_tests
from tests_app.queries.deriving.papers import papers
from tests_app.queries.deriving.pressure import pressure_tests
from tests_app.queries.deriving.scope import EVERYTHING, Scope
from tests_app.queries.deriving.works import works

__all__ = [
    "EVERYTHING",
    "Derive",
    "Derived",
    "Requirement",
    "Scope",
    "Subject",
    "derive",
    "derive_for_dates",
    "derive_over_time",
]


_FAMILIES: Final = (
    (pressure_tests, frozenset({What.PRESSURE})),
    (bank_tests, frozenset({What.DRAWDOWN, What.PUMP, What.PRECHARGE, What.SHELL})),
    (function_tests, frozenset({What.FUNCTION})),
    (works, frozenset(What) - {What.DRAWDOWN, What.PUMP, What.PRECHARGE, What.SHELL, What.CALIBRATION}),
    (papers, frozenset({What.CALIBRATION, What.DOCUMENT, What.ELASTOMER})),
)
"""Each family with what it may yield."""


def derive(
    rig: Rig,
    *,
    at: datetime,
    known_at: datetime | None = None,
    scope: Scope = EVERYTHING,
    since: datetime | None = None,
) -> list[Derived]:
    """Return every obligation of a rig as of `at`, each with its whole history. A constant number of queries.

    With `known_at` only what was entered by then counts: records opened and seals set, readings, work, deferrals,
    documents, and by the trail what was installed, removed or serviced. The rules are those followed at `at`. What can
    not be told apart: ratings, sections, bottles' papers and times that were corrected stand as they are
    now; lines of a draft count from its opening.

    With `since` pressure and function tests signed and over before then are left out of the histories.
    """
    return _derive(RigFacts(rig, at, known_at, scope, since))


def derive_over_time(
    rig: Rig, first: tuple[datetime, Scope], later: Iterable[tuple[datetime, Scope]]
) -> Iterator[list[Derived]]:
    """Yield what `derive` does at each of some moments, each within its scope; what hangs on none is read once."""
    facts = RigFacts(rig, first[0], None, first[1], over_time=True)
    yield _derive(facts)
    for at, scope in later:
        facts = facts.at_another(at, scope)
        yield _derive(facts)


def _derive(facts: RigFacts) -> list[Derived]:
    scope = facts.scope
    asked = [family for family, whats in _FAMILIES if scope.whats is None or scope.whats & whats]
    found = [one for family in asked for one in family(facts) if scope.asks(one.what)]
    once = {one.key: one for one in reversed(found)}
    return [one for one in found if once[one.key] is one]


class Derive(Protocol):
    """A way to work out what is owed."""

    def __call__(self, rig: Rig, *, at: datetime, scope: Scope) -> list[Derived]:
        """Return the obligations of a rig within a scope, as of a moment."""


LATELY: Final = timedelta(days=60)
"""Tests read at first: longer than most intervals, so that few subjects need their older ones."""
_BY_RECORDS: Final = frozenset({What.PRESSURE, What.FUNCTION})


def derive_for_dates(rig: Rig, *, at: datetime, scope: Scope = EVERYTHING) -> list[Derived]:
    """Return the same as `derive`, in histories cut down to what a date can hang on.

    Years of tests tell nothing of today once a later one passed that is still enough. So those of late are read, and
    of what passed none of them its older ones too; the dates, and the events kept of them, are the same.
    """
    since = at - LATELY
    facts = RigFacts(rig, at, None, scope, since)
    found = _derive(facts)
    untold = [one for one in found if one.what in _BY_RECORDS and last_pass(one.history, at=at) is None]
    older = Scope.of(
        components=[one.subject.component.pk for one in untold if one.subject.component is not None],
        control_items=[one.subject.control_item.pk for one in untold if one.subject.control_item is not None],
        whats={one.what for one in untold},
    )
    if older.is_empty or not Record.objects.filter(rig=rig, concluded_at__lt=since, sealed_at__isnull=False).exists():
        return found
    whole = {one.key: one for one in _derive(facts.with_older(older))}
    return [whole.get(one.key, one) for one in found]
