"""What is due on a rig, the most pressing first: the front door to all that is owed.

Pages read the obligations stored; how each stands is worked out for the moment asked. Where they don't answer for that
moment, they are worked out afresh from what happened. Either way the same rows.
"""

from datetime import datetime

from equipment.models import HoleSection, Rig, Well
from tests_app.models import Obligation, Reckoning
from tests_app.queries.deriving import EVERYTHING, Scope, derive_for_dates
from tests_app.queries.due_items import DueItem, pressing
from tests_app.queries.obligations import as_row, obligations_of, stand, with_records, with_waiting


def due_list(rig: Rig, *, at: datetime) -> list[DueItem]:
    """Return what is due on the rig, the most pressing first. A constant number of queries.

    On a rig without rules no test can be worked out, and each says so. A row that can't be worked out is shown as worse
    than overdue, with the reason, and does not stop the others.
    """
    return sorted((stand(row, at) for row in rows_at(rig, at=at)), key=pressing)


def rows_at(rig: Rig, *, at: datetime) -> list[Obligation]:
    """Return the rig's obligations as they answer for that moment: those stored, else worked out afresh."""
    rows = _stored(rig, at)
    return worked_afresh(rig, at=at) if rows is None else rows


def worked_afresh(rig: Rig, *, at: datetime, scope: Scope = EVERYTHING) -> list[Obligation]:
    """Return the rig's obligations as of `at`, worked out from what happened; none of them is saved."""
    rows = [as_row(derived, rig, at) for derived in derive_for_dates(rig, at=at, scope=scope)]
    return with_waiting(with_records(rows), rig)


def _stored(rig: Rig, at: datetime) -> list[Obligation] | None:
    """Return the stored obligations where they answer for that moment; None where they have to be worked out."""
    reckoning = Reckoning.objects.filter(rig=rig).first()
    if reckoning is None or reckoning.error or reckoning.worked_at > at or _came_about(rig, reckoning.worked_at, at):
        return None
    rows = obligations_of(rig)
    return rows if all(row.worked_at <= at for row in rows) else None


def _came_about(rig: Rig, since: datetime, at: datetime) -> bool:
    """Tell whether something entered ahead of its time came about since: rules ask differently from then on."""
    if HoleSection.objects.filter(well__rig=rig, begins_at__gt=since, begins_at__lte=at).exists():
        return True
    first, last = (moment.astimezone(rig.zone).date() for moment in (since, at))
    return Well.objects.filter(rig=rig, spudded_on__gt=first, spudded_on__lte=last).exists()
