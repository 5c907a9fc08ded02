"""A sheet as a file: CSV or XLSX, read into cells of text with their row's number, and written."""

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any, Final

from openpyxl import load_workbook
from tablib import Dataset

from calcs.sheet_cells import as_written
from calcs.sizes import MEGABYTE, megabytes
from equipment.errors import Refused

MOST_BYTES: Final = 5 * MEGABYTE
MOST_ROWS: Final = 1_000
"""So that trying a file out keeps others from writing, on SQLite, for some seconds at most."""
_MOST_COLUMNS: Final = 100
_MOST_UNPACKED: Final = 50 * MEGABYTE
_LONGEST_CELL: Final = 5_000
_FIELD: Final = "file"
_SPLIT: Final = f"Split it into files of at most {MOST_ROWS:,} rows, and bring them in one after another."
_SAVE_AGAIN: Final = "Save it again as CSV (UTF-8) or XLSX, and give that file."


@dataclass(frozen=True)
class SheetRow:
    """One row: its number in the file as a spreadsheet counts, and its cells by the head of their column."""

    number: int
    cells: dict[str, str]


@dataclass(frozen=True)
class SheetFile:
    """What stands in a file."""

    heads: list[str]
    rows: list[SheetRow]


def read_sheet(content: bytes) -> SheetFile:
    """Return the rows of a file, empty ones left out; raises Refused for what is no sheet, or too large a one."""
    if len(content) > MOST_BYTES:
        raise Refused(_FIELD, f"The file is larger than {megabytes(MOST_BYTES)}.", _SPLIT)
    lines = _xlsx_lines(content) if content.startswith(b"PK") else _csv_lines(content)
    heads: list[str] = []
    rows: list[SheetRow] = []
    for number, line in lines:
        cells = _trimmed(line)
        if not cells:
            continue
        if not heads:
            heads = [as_written(head.strip()) for head in cells]
            continue
        if len(rows) == MOST_ROWS:
            raise Refused(_FIELD, f"The file has more than {MOST_ROWS:,} rows.", _SPLIT)
        rows.append(_row(number, heads, cells))
    if not heads:
        raise Refused(_FIELD, "The file is empty.", "Start from the template: its first line names the columns.")
    if not rows:
        raise Refused(_FIELD, "The file has the names of the columns but no row.", "Fill in a row for each thing.")
    return SheetFile(heads, rows)


def _row(number: int, heads: Sequence[str], cells: Sequence[str]) -> SheetRow:
    if len(cells) > len(heads):
        raise Refused(
            _FIELD,
            f"Row {number:,} has {len(cells)} cells, the first line names {len(heads)} columns.",
            "Put text that has the separator in it between quotation marks, or save the file as XLSX.",
        )
    if any(len(cell) > _LONGEST_CELL for cell in cells):
        raise Refused(_FIELD, f"Row {number:,} has a cell of more than {_LONGEST_CELL:,} letters.", "Shorten it.")
    return SheetRow(number, dict(zip(heads, [*cells, *[""] * (len(heads) - len(cells))], strict=True)))


def _trimmed(line: Sequence[str]) -> list[str]:
    kept = list(line)
    while kept and not kept[-1].strip():
        kept.pop()
    return kept


# CSV


def _csv_lines(content: bytes) -> Iterator[tuple[int, list[str]]]:
    text = _decoded(content)
    first = text.lstrip().partition("\n")[0]
    separator = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        # A row with line ends inside a cell takes several lines of the file, but one row of a spreadsheet.
        yield from enumerate(reader, start=1)
    except csv.Error as error:
        raise Refused(_FIELD, f"The file can't be read as CSV near line {reader.line_num:,}.", _SAVE_AGAIN) from error


def _decoded(content: bytes) -> str:
    try:
        text = content.decode("utf-16" if content.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig")
    except UnicodeDecodeError:
        # What spreadsheets of Western offices write when asked for plain CSV; a wrong letter shows in the dry run.
        text = content.decode("cp1252", "replace")
    if "\x00" in text:
        raise Refused(_FIELD, "The file is neither CSV nor XLSX.", _SAVE_AGAIN)
    return text


# XLSX


def _xlsx_lines(content: bytes) -> Iterator[tuple[int, list[str]]]:
    _refuse_inflated(content)
    try:
        book = load_workbook(io.BytesIO(content), read_only=True, keep_links=False)
        rows = book.worksheets[0].iter_rows(max_col=_MOST_COLUMNS)
    except Exception as error:  # whatever a damaged archive makes a reader of it raise
        raise Refused(_FIELD, "The file can't be read as XLSX.", _SAVE_AGAIN) from error
    filled = 0
    for number, row in enumerate(_safely(rows), start=1):
        line = [_text_of(cell) for cell in row]
        filled += any(line)
        yield number, line
        if filled > MOST_ROWS + 1 or number > 20 * MOST_ROWS:
            raise Refused(_FIELD, f"The file has more than {MOST_ROWS:,} rows.", _SPLIT)


def _safely(rows: Iterable[Any]) -> Iterator[Any]:
    try:
        yield from rows
    except Exception as error:  # as above: a sheet is read while it is walked
        raise Refused(_FIELD, "The file can't be read as XLSX.", _SAVE_AGAIN) from error


def _refuse_inflated(content: bytes) -> None:
    """Refuse an archive that says it unpacks to more than any sheet of this size."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            unpacked = sum(part.file_size for part in archive.infolist())
    except (zipfile.BadZipFile, ValueError, NotImplementedError) as error:
        raise Refused(_FIELD, "The file can't be read as XLSX.", _SAVE_AGAIN) from error
    if unpacked > _MOST_UNPACKED:
        raise Refused(_FIELD, f"The file unpacks to more than {megabytes(_MOST_UNPACKED)}.", _SPLIT)


def _text_of(cell: Any) -> str:
    value = cell.value
    if getattr(cell, "data_type", "") == "f":
        raise Refused(
            _FIELD,
            f"Cell {cell.coordinate} holds a formula.",
            "Put its value there instead: what a formula shows hangs on the spreadsheet that worked it out.",
        )
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case datetime():
            return value.isoformat(sep=" ")
        case date() | time():
            return value.isoformat()
        case float() if value.is_integer() and abs(value) < 1e15:
            return str(int(value))
    return str(value)


# Writing


def sheet_bytes(kind: str, heads: Sequence[str], rows: Iterable[Sequence[str]], *, title: str) -> bytes:
    """Return a file of `kind`, csv or xlsx; the cells are written already as no spreadsheet runs them."""
    sheet = Dataset(headers=list(heads), title=title)
    for row in rows:
        sheet.append(list(row))
    content = sheet.export(kind)
    # The mark at the front tells a spreadsheet that the text is UTF-8.
    return content if isinstance(content, bytes) else f"\ufeff{content}".encode()
