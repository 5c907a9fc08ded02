"""The due list on paper, as it is narrowed and parted on the page, as of the moment it was printed."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from accounts.presentation import STATES, date_text, in_zone, zone_label
from tests_app.documents.list_paper import PAPERS, print_list

__all__ = ["PAPERS", "DueSheet", "SheetGroup", "SheetRow", "print_due_list"]

ABSENT: Final = "–"


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One row, every figure already words but for the moment it was last done."""

    state: str
    words: str
    what: str
    subject: str
    detail: str
    done_at: datetime | None
    limit: str
    waiting: str
    clause: str


@dataclass(frozen=True, slots=True)
class SheetGroup:
    """One part of the list under its head; without a title where the list is not parted."""

    title: str
    rows: tuple[SheetRow, ...]


@dataclass(frozen=True, slots=True)
class DueSheet:
    """A due list to print.

    Attributes:
        rig: its name.
        kind: of rig, in words.
        zone: its clock.
        at: as of when the list stands.
        rules: what it is tested by; empty while no rules are chosen.
        unlisted: parts of the control system the rules ask to be tested and that are not on file, in words.
        summary: how the rig stands as a whole, in one sentence.
        narrowed: whether rows are left out.
        total: how many there are in all.
        groups: the rows.
    """

    rig: str
    kind: str
    zone: ZoneInfo
    at: datetime
    rules: str
    unlisted: tuple[str, ...]
    summary: str
    narrowed: bool
    total: int
    groups: tuple[SheetGroup, ...]


def moment_on_paper(moment: datetime | None, zone: ZoneInfo) -> str:
    """Return a moment on the rig's clock with its distance from UTC."""
    if moment is None:
        return ABSENT
    local = in_zone(moment, zone)
    return f"{date_text(local)}, {local:%H:%M} {zone_label(local)}"


def print_due_list(sheet: DueSheet, paper: str) -> bytes:
    """Return the list as a PDF on `paper`, A4 or letter."""
    groups = [(group.title, [_shown(row, sheet.zone) for row in group.rows], len(group.rows)) for group in sheet.groups]
    count = sum(len(group.rows) for group in sheet.groups)
    context = {
        "title": "Due list",
        "rig": sheet.rig,
        "sheet": sheet,
        "as_of": moment_on_paper(sheet.at, sheet.zone),
        "groups": groups,
        "count": count,
    }
    return print_list("documents/due_list.html", context, paper=paper)


def _shown(row: SheetRow, zone: ZoneInfo) -> dict[str, str]:
    known = STATES[row.state]
    return {
        "mark": "bad" if known.tone in ("bad", "now") else "calm",
        "words": row.words,
        "what": row.what,
        "subject": row.subject,
        "detail": row.detail,
        "done": moment_on_paper(row.done_at, zone),
        "limit": row.limit,
        "waiting": row.waiting,
        "clause": row.clause,
    }
