"""The way from a failed line of a signed test to its defect, or to where one is opened."""

from dataclasses import dataclass

from django.urls import reverse

from equipment.queries.access import Right
from tests_app.models import FunctionLine, Line, Record
from tests_app.queries.corrections import is_corrected
from tests_app.queries.found_defects import LineDefect, failed_lines_of
from tests_app.web.entry import Visit


@dataclass(frozen=True)
class LineLink:
    """Where a failed line leads."""

    address: str
    words: str


def links_of(visit: Visit, record: Record) -> dict[str, LineLink]:
    """Return where each failed line of a signed test leads, by `place_of`; nothing for those that lead nowhere.

    A constant number of queries.
    """
    may_open = visit.may(Right.OPEN_DEFECT) and not is_corrected(record)
    found = {_place(one.line): _link(one, may_open) for one in failed_lines_of(record).values()}
    return {place: link for place, link in found.items() if link is not None}


def place_of(order: int, element: str = "", side: str = "") -> str:
    """Return the name of a line among those of its test: its step or line, what it proves and from which side."""
    return f"{order}/{element}/{side}"


def _place(line: Line | FunctionLine) -> str:
    if isinstance(line, Line):
        return place_of(line.step.order, line.position.name, line.pressure_from)
    return place_of(line.order)


def _link(one: LineDefect, may_open: bool) -> LineLink | None:
    if one.defect is not None:
        return LineLink(reverse("tests_app:defect", args=[one.defect.pk]), f"Defect {one.defect.number}")
    if not may_open:
        return None
    name = "line-defect" if isinstance(one.line, Line) else "function-line-defect"
    return LineLink(reverse(f"tests_app:{name}", args=[one.line.pk]), "Open a defect")
