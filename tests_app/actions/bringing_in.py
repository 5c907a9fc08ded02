"""Bringing in a file of rows: kept as received, tried out row by row, then all of it or nothing.

Trying out does with every row what bringing in would do, through the same actions, and gives all of it up at the end:
nothing else could tell as surely what will happen.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any, Final

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import transaction

from accounts.models import User
from calcs.errors import InputError
from equipment import files
from equipment.actions import saving
from equipment.errors import Refused
from equipment.models import Rig
from tests_app.actions.brought_rows import Bringing, put_on_file
from tests_app.actions.obligations import reconciling_once
from tests_app.after_commit import enqueue
from tests_app.documents.sheet_files import SheetFile, SheetRow, read_sheet
from tests_app.documents.sheet_forms import FORMS
from tests_app.models import BroughtFile, FileState
from tests_app.queries.brought import Result, counts_of
from trail import entries
from trail.actors import name_of

AT_ONCE_ROWS: Final = 40
"""Longer files are left to the worker: each row takes some hundredths of a second."""
RECEIVED: Final = "brought-file.received"
BROUGHT_IN: Final = "brought-file.brought-in"
SET_ASIDE: Final = "brought-file.set-aside"
_LONGEST_NAME: Final = 200
_EVERY_ROWS: Final = 20
_OPEN: Final = (FileState.WAITING, FileState.TRIED)

Progress = Callable[[int, int], None]


def _silent(done: int, of: int) -> None:
    """Tell nobody."""


@dataclass(frozen=True)
class RowResult:
    """What becomes of one row.

    Attributes:
        row: its number in the file.
        result: a `Result`.
        what: the row in words.
        field: of a refused one, the head of the column at fault; empty for the row as a whole.
        reason: why it is refused.
        remedy: what to do.
    """

    row: int
    result: str
    what: str
    field: str = ""
    reason: str = ""
    remedy: str = ""


@transaction.atomic
def receive_file(rig: Rig, *, sheet: str, name: str, content: bytes, by: User, at: datetime) -> BroughtFile:
    """Keep a file as received, to be tried out: at once when it is short, else by the worker.

    Raises Refused for a file that is no sheet, too large, or has other columns than its kind.
    """
    read = _read(content, sheet)
    short = name.replace("\\", "/").rpartition("/")[2][-_LONGEST_NAME:] or "unnamed"
    file = BroughtFile(
        rig=rig,
        sheet=sheet,
        name=short,
        sha256=files.keep(content),
        size=len(content),
        row_count=len(read.rows),
        person=by,
        received_at=saving.aware(at).astimezone(UTC),
        received_by=name_of(by),
    )
    saving.store_row(file, insert=True)
    after = {"sheet": sheet, "name": short, "sha256": file.sha256, "rows": file.row_count}
    entries.write(RECEIVED, file, by=by, at=at, rig_number=rig.pk, after=after)
    if file.row_count > AT_ONCE_ROWS:
        enqueue("tests_app.try_out_file", file_id=file.pk)
    return file


def _read(content: bytes, sheet: str) -> SheetFile:
    read = read_sheet(content)
    try:
        FORMS[sheet].check_heads(read.heads)
    except InputError as error:
        raise Refused(error.field, error.reason, error.remedy) from error
    return read


class _GivenUp(Exception):
    """Ends a transaction whose rows are not meant to stay."""


def try_out(file: BroughtFile, *, by: User, at: datetime, progress: Progress = _silent) -> BroughtFile:
    """Do with every row what bringing in would do, note what becomes of it, and give it all up.

    A file that is being brought in, is in, or was set aside is left as it is.
    """
    if BroughtFile.objects.filter(pk=file.pk, state__in=_OPEN).first() is None:
        return BroughtFile.objects.get(pk=file.pk)
    results, problem = _walked(file, by, at, progress)
    with transaction.atomic():
        fresh = saving.locked(file)
        if fresh.state in _OPEN:
            _note(fresh, FileState.TRIED, results, problem, at)
        return fresh


def _walked(file: BroughtFile, by: User, at: datetime, progress: Progress) -> tuple[list[RowResult], str]:
    """Return what becomes of each row, with nothing changed; and why the file as a whole can't be walked."""
    results: list[RowResult] = []
    try:
        rows = _read(files.fetch(file.sha256), file.sheet).rows
        with transaction.atomic(), reconciling_once():
            results = list(_each(rows, Bringing(file, by, at), progress))
            raise _GivenUp
    except _GivenUp:
        return results, ""
    except (Refused, files.FileMissing, files.FileAltered) as error:
        return [], str(error)


def _each(rows: Sequence[SheetRow], bringing: Bringing, progress: Progress) -> Iterator[RowResult]:
    for done, row in enumerate(rows):
        if done % _EVERY_ROWS == 0:
            progress(done, len(rows))
        yield _result(row, bringing)


def _result(row: SheetRow, bringing: Bringing) -> RowResult:
    what = " ".join(cell for cell in list(row.cells.values())[:4] if cell)[:120]
    try:
        with transaction.atomic():
            added = put_on_file(row.cells, bringing)
    except (Refused, InputError) as error:
        head = _head(bringing.file.sheet, error.field)
        return RowResult(row.number, Result.REFUSED, what, head, error.reason, error.remedy)
    except ValidationError as error:
        field, reason = _first(error)
        head = _head(bringing.file.sheet, field)
        return RowResult(row.number, Result.REFUSED, what, head, reason, "Correct the cell in the file.")
    return RowResult(row.number, Result.ADD if added else Result.SAME, what)


def _first(error: ValidationError) -> tuple[str, str]:
    if not hasattr(error, "error_dict"):
        return "", " ".join(error.messages)
    field, messages = next(iter(error.message_dict.items()))
    return "" if field == NON_FIELD_ERRORS else field, " ".join(messages)


def _head(sheet: str, field: str) -> str:
    """Return the head of the column an action's name of a value means; empty where it is none of the file's."""
    named = {"component": "serial"}.get(field, field)
    return next((column.head for column in FORMS[sheet].columns if column.key == named), "")


def _note(file: BroughtFile, state: str, results: Sequence[RowResult], problem: str, at: datetime) -> None:
    file.state, file.problem = state, problem[:300]
    file.results = [asdict(one) for one in results]
    file.tried_at = saving.aware(at).astimezone(UTC)
    file.save(update_fields=["state", "problem", "results", "tried_at"])


@transaction.atomic
def confirm_file(file: BroughtFile, *, by: User, at: datetime) -> BroughtFile:
    """Have a file brought in that was tried out without a refusal; a long one is left to the worker.

    Raises Refused: not tried out, with rows refused or nothing to add, brought in or set aside already.
    """
    fresh = saving.locked(file)
    _check_ready(fresh)
    fresh.state, fresh.person = FileState.CONFIRMED, by
    fresh.save(update_fields=["state", "person"])
    entries.write("brought-file.confirmed", fresh, by=by, at=at, rig_number=fresh.rig_id)
    if fresh.row_count > AT_ONCE_ROWS:
        enqueue("tests_app.bring_in_file", file_id=fresh.pk)
    return fresh


def _check_ready(file: BroughtFile) -> None:
    if file.state == FileState.BROUGHT_IN:
        raise Refused("", "This file is brought in already.", "Nothing is left to do.")
    if file.state != FileState.TRIED:
        raise Refused("", f"This file is {file.get_state_display().lower()}.", "Have it tried out first.")
    told = counts_of(file)
    if file.problem or told[Result.REFUSED]:
        raise Refused(
            "", f"{told[Result.REFUSED] or 'Some'} rows are refused, and it is all or nothing.", "Correct the file."
        )
    if not told[Result.ADD]:
        raise Refused("", "Every row is on file already.", "Nothing is left to do.")


def bring_in(file: BroughtFile, *, by: User, at: datetime, progress: Progress = _silent) -> BroughtFile:
    """Put every row of a confirmed file on file in one transaction; where one is refused by now, none.

    Then the file stands as tried out again, with what is refused. One that is not confirmed is left as it is.
    """
    results: list[RowResult] = []
    try:
        with transaction.atomic():
            fresh = saving.locked(file)
            if fresh.state != FileState.CONFIRMED:
                return fresh
            with reconciling_once():
                rows = _read(files.fetch(fresh.sha256), fresh.sheet).rows
                results = list(_each(rows, Bringing(fresh, by, at), progress))
                if any(one.result == Result.REFUSED for one in results):
                    raise _GivenUp
                _finish(fresh, results, by, at)
            return fresh
    except _GivenUp:
        return _refused(file, results, "", at)
    except (Refused, files.FileMissing, files.FileAltered) as error:
        return _refused(file, [], str(error), at)


def _finish(file: BroughtFile, results: Sequence[RowResult], by: User, at: datetime) -> None:
    _note(file, FileState.BROUGHT_IN, results, "", at)
    file.brought_in_at, file.brought_in_by = saving.aware(at).astimezone(UTC), name_of(by)
    file.save(update_fields=["brought_in_at", "brought_in_by"])
    after: dict[str, Any] = {"sha256": file.sha256, **counts_of(file)}
    entries.write(BROUGHT_IN, file, by=by, at=at, rig_number=file.rig_id, after=after)


@transaction.atomic
def _refused(file: BroughtFile, results: Sequence[RowResult], problem: str, at: datetime) -> BroughtFile:
    fresh = saving.locked(file)
    if fresh.state == FileState.CONFIRMED:
        _note(fresh, FileState.TRIED, results, problem, at)
    return fresh


@transaction.atomic
def try_again(file: BroughtFile, *, by: User, at: datetime) -> BroughtFile:
    """Have a file tried out anew, after something it rests on was put right, or the worker was lost over it.

    Raises Refused for one that was brought in or set aside.
    """
    fresh = saving.locked(file)
    if fresh.state in (FileState.BROUGHT_IN, FileState.SET_ASIDE):
        raise Refused("", f"This file is {fresh.get_state_display().lower()} already.", "Give it anew.")
    fresh.state, fresh.person, fresh.problem = FileState.WAITING, by, ""
    fresh.save(update_fields=["state", "person", "problem"])
    entries.write("brought-file.tried-again", fresh, by=by, at=at, rig_number=fresh.rig_id)
    if fresh.row_count > AT_ONCE_ROWS:
        enqueue("tests_app.try_out_file", file_id=fresh.pk)
    return fresh


@transaction.atomic
def set_aside_file(file: BroughtFile, *, by: User, at: datetime) -> BroughtFile:
    """Set aside a file that will not be brought in; what was received is kept. Raises Refused for one that was."""
    fresh = saving.locked(file)
    if fresh.state not in _OPEN:
        raise Refused("", f"This file is {fresh.get_state_display().lower()}.", "Nothing is left to do.")
    fresh.state = FileState.SET_ASIDE
    fresh.save(update_fields=["state"])
    entries.write(SET_ASIDE, fresh, by=by, at=at, rig_number=fresh.rig_id)
    return fresh
