"""The front page of a rig: what is due, parted by date, by part of the system or by who does it."""

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Final

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_GET

from calcs.recurrence import State
from equipment.queries import access
from equipment.web.lists import Listed, listed
from tests_app.documents.due_sheet import PAPERS, DueSheet, SheetGroup, SheetRow, print_due_list
from tests_app.models import Record
from tests_app.queries import records
from tests_app.queries.defects import stopping_operations
from tests_app.queries.due_items import CANNOT_BE_WORKED_OUT, NEVER_TESTED, NOT_PASSED, DueItem
from tests_app.queries.due_list import due_list
from tests_app.queries.unlisted import unlisted_controls
from tests_app.web.due_groups import BY_DATE, WAYS
from tests_app.web.due_table import DueFilter, DueRow, DueTable
from tests_app.web.due_words import STATE_KEYS
from tests_app.web.entry import Visit, signed_in
from tests_app.web.rule_titles import rules_followed
from tests_app.web.sweep_shown import sweep_shown

_ORDER: Final = tuple(STATE_KEYS)
_URGENT: Final = (CANNOT_BE_WORKED_OUT, State.OVERDUE, NOT_PASSED, NEVER_TESTED, State.DUE_NOW)
_COUNTED: Final[Mapping[str, tuple[str, str]]] = {
    CANNOT_BE_WORKED_OUT: ("cannot be worked out", "cannot be worked out"),
    State.OVERDUE: ("is overdue", "are overdue"),
    NOT_PASSED: ("did not pass its last test", "did not pass their last test"),
    NEVER_TESTED: ("was never tested", "were never tested"),
    State.DUE_NOW: ("is due now", "are due now"),
    State.DUE_SOON: ("is due soon", "are due soon"),
    State.IN_PROGRESS: ("is being tested", "are being tested"),
    State.IN_DATE: ("is in date", "are in date"),
    State.OUT_OF_SERVICE: ("is out of service", "are out of service"),
}

PAGE_ROWS: Final = 200
"""So many rows a page: a rig's whole list, as a rule, so that no part of it is out of sight."""


@require_GET
@signed_in
def rig_front(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show what is due on a rig, with the tests in progress."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    items = due_list(rig, at=visit.at)
    by = _way(request)
    rows = [DueRow(item, visit.at, rig.pk, visit.rights, by) for item in items]
    found = listed(
        request,
        sorted(rows, key=lambda row: row.group.order),
        DueTable,
        filter_class=DueFilter,
        table_options={"zone": rig.zone, "units": visit.units},
        file_name=f"due-{rig.pk}",
        page_rows=PAGE_ROWS,
    )
    if found.export is not None:
        return found.export
    if request.GET.get("export") == "pdf":
        return _paper(request, visit, found, items)
    context = {
        **found.context(),
        "summary": summary_of(items),
        "unlisted": unlisted_controls(rig, at=visit.at),
        "drafts": _drafts(visit),
        "stopping": stopping_operations(rig),
        "stands_worst": _worst(items),
        "rules_title": rules_followed(rig),
        **sweep_shown(rig, visit.at),
        "by": by,
        "ways": WAYS,
        "total": len(items),
        "papers": [(size, size.title() if size == "letter" else size) for size in PAPERS.values()],
    }
    return visit.show(request, "tests_app/rig.html", context)


def _way(request: HttpRequest) -> str:
    """Return how the address parts the list; by date where it doesn't say."""
    asked = request.GET.get("by", "")
    return asked if asked in dict(WAYS) else BY_DATE


def _paper(request: HttpRequest, visit: Visit, found: Listed, items: Sequence[DueItem]) -> HttpResponse:
    """Return the list as it is narrowed, sorted and parted, on paper."""
    rows = list(found.table.data)
    heads = found.table.heads()
    groups: dict[str, list[SheetRow]] = {}
    for row in rows:
        groups.setdefault(row.group.key, []).append(_sheet_row(row))
    sheet = DueSheet(
        rig=visit.rig.name,
        kind=visit.rig.get_kind_display(),
        zone=visit.rig.zone,
        at=visit.at,
        rules=rules_followed(visit.rig),
        unlisted=tuple(
            f"{one.words} ({one.stack.name}; {one.clauses})" for one in unlisted_controls(visit.rig, at=visit.at)
        ),
        summary=summary_of(items),
        narrowed=len(rows) < len(items),
        total=len(items),
        groups=tuple(SheetGroup(heads[key].group.title if heads else "", tuple(of)) for key, of in groups.items()),
    )
    asked = request.GET.get("paper", "")
    paper = asked if asked in PAPERS.values() else PAPERS[visit.units]
    name = f'attachment; filename="due-{visit.rig.pk}.pdf"'
    return HttpResponse(
        print_due_list(sheet, paper), content_type="application/pdf", headers={"Content-Disposition": name}
    )


def _sheet_row(row: DueRow) -> SheetRow:
    return SheetRow(
        state=STATE_KEYS[row.item.state],
        words=row.words,
        what=row.what,
        subject=row.item.subject,
        detail=row.item.subject_detail,
        done_at=row.item.last_tested_at,
        limit=row.limit_words,
        waiting=row.waiting,
        clause=row.item.clause,
    )


def _drafts(visit: Visit) -> list[Record]:
    drafts = records.records_visible(visit.user, visit.rig).filter(
        sealed_at=None, discarded_at=None, superseded_by=None
    )
    return list(drafts.order_by("-started_at"))


def _worst(items: Sequence[DueItem]) -> str:
    """Return the key of the worst state on the rig; in date when there is nothing to show."""
    return STATE_KEYS[items[0].state] if items else "not-judged"


def summary_of(items: Sequence[DueItem]) -> str:
    """Return how the rig stands in one sentence."""
    counts = Counter(item.state for item in items)
    parts = [f"{counts[state]} {_COUNTED[state][counts[state] != 1]}" for state in _ORDER if counts[state]]
    if not parts:
        return "Nothing that has to be tested is installed on this rig yet."
    if not any(counts[state] for state in _URGENT):
        parts.insert(0, "nothing is overdue")
    joined = " and ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else parts[0]
    return f"{joined[:1].upper()}{joined[1:]}."
