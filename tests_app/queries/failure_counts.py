"""How often each kind of component failed on a rig: defects by time in service, failed lines by tests made."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Q, QuerySet

from calcs.failure_rates import USUAL_CONFIDENCE, Rate, failure_rate
from equipment.models import ComponentKind, Installation, Rig
from tests_app.models import FunctionLine, Line, Outcome, Record
from tests_app.queries.corrections import keys_corrected
from tests_app.queries.defects import Standing, standings_of

_DAY = timedelta(days=1)
_JUDGED = (Outcome.PASSED, Outcome.FAILED)


@dataclass(frozen=True)
class KindCount:
    """One kind of component over one stretch of time.

    Attributes:
        kind: the kind.
        in_service: days in service, counted over all components of the kind that stood in a position.
        defects: defects found in that time while the component stood there, those entered in error left out.
        pressed: lines of sealed pressure tests about the kind; `pressed_failed` of them did not pass.
        worked: the same of function tests; `worked_failed` of them did not pass.
    """

    kind: str
    in_service: float
    defects: int
    pressed: int = 0
    pressed_failed: int = 0
    worked: int = 0
    worked_failed: int = 0

    @property
    def label(self) -> str:
        """The kind in words."""
        return str(ComponentKind(self.kind).label)

    @property
    def by_time(self) -> Rate | None:
        """Defects per day in service."""
        return failure_rate(self.defects, self.in_service) if self.in_service > 0 else None

    @property
    def by_pressure_test(self) -> Rate | None:
        """Failures per pressure test."""
        return failure_rate(self.pressed_failed, self.pressed) if self.pressed else None

    @property
    def by_function_test(self) -> Rate | None:
        """Failures per function test."""
        return failure_rate(self.worked_failed, self.worked) if self.worked else None


CONFIDENCE = USUAL_CONFIDENCE


def failure_counts(rig: Rig, *, since: datetime | None, until: datetime) -> list[KindCount]:
    """Return the counts of each kind that stood on the rig or was tested between two moments, by kind.

    A test made again after a failure counts as a test of its own. A constant number of queries.
    """
    days = _days_in_service(rig, since, until)
    defects = _defects(standings_of(rig), since, until)
    tests = _records(rig, since, until)
    pressed = _lines(Line.objects.filter(step__record__in=tests.values("pk")))
    worked = _lines(FunctionLine.objects.filter(record__in=tests.values("pk"), component__isnull=False))
    kinds = [kind for kind in ComponentKind.values if kind in {*days, *defects, *pressed, *worked}]
    none = (0, 0)
    return [
        KindCount(kind, days.get(kind, 0.0), defects.get(kind, 0), *pressed.get(kind, none), *worked.get(kind, none))
        for kind in kinds
    ]


def _days_in_service(rig: Rig, since: datetime | None, until: datetime) -> dict[str, float]:
    placed = Installation.objects.filter(position__stack__rig=rig, installed_at__lt=until)
    days: dict[str, float] = {}
    for kind, began, ended in placed.values_list("component__kind", "installed_at", "removed_at").order_by():
        first, last = max(began, since or began), min(ended or until, until)
        days[kind] = days.get(kind, 0.0) + max(0.0, (last - first) / _DAY)
    return days


def _defects(standings: Iterable[Standing], since: datetime | None, until: datetime) -> dict[str, int]:
    """Count the defects of components that stood in a position: the exposure is of those alone."""
    counted: dict[str, int] = {}
    for one in standings:
        defect = one.defect
        if defect.component is None or defect.position_id is None or one.in_error:
            continue
        if (since or defect.found_at) <= defect.found_at < until:
            counted[defect.component.kind] = counted.get(defect.component.kind, 0) + 1
    return counted


def _records(rig: Rig, since: datetime | None, until: datetime) -> QuerySet[Record]:
    tests = Record.objects.filter(rig=rig, sealed_at__isnull=False, concluded_at__lt=until)
    if since is not None:
        tests = tests.filter(concluded_at__gte=since)
    return tests.exclude(pk__in=keys_corrected(tests)).order_by()


def _lines(lines: "QuerySet[Line] | QuerySet[FunctionLine]") -> Mapping[str, tuple[int, int]]:
    judged = lines.filter(outcome__in=_JUDGED).order_by().values_list("component__kind")
    counted = judged.annotate(made=Count("pk"), failed=Count("pk", filter=Q(outcome=Outcome.FAILED)))
    return {kind: (made, failed) for kind, made, failed in counted}
