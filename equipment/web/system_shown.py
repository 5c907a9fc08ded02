"""A pressure system as its page shows it: drawn as while drilling, and what is not right with where to mend it."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from equipment.documents.pressure_drawing import NARROW, WIDE, Look, draw_sketch
from equipment.documents.pressure_sketch import Sketch
from equipment.models import Cavity, SystemElement
from equipment.queries.pressure_systems import Contents
from equipment.queries.system_checks import Finding, Subject


@dataclass(frozen=True)
class FoundRow:
    """A finding with the name of what it is about and where that is mended."""

    finding: Finding
    name: str
    address: str


def found_rows(found: Iterable[Finding], may_manage: bool) -> list[FoundRow]:
    """Return the findings as rows; only those who may change the system are led to the forms."""
    return [
        FoundRow(one, str(one.subject or "The system as a whole"), _mended_at(one.subject) if may_manage else "")
        for one in found
    ]


def _mended_at(subject: Subject) -> str:
    if isinstance(subject, Cavity):
        return reverse("equipment:cavity-edit", args=[subject.pk])
    if isinstance(subject, SystemElement):
        return reverse("equipment:element-edit", args=[subject.pk])
    return reverse("equipment:position", args=[subject.pk]) if subject is not None else ""


def drawn_both_ways(sketch: Sketch, contents: Contents, may_manage: bool) -> SafeString:
    """Return the drawing as it stands while drilling, for a wide and a narrow page; parts lead to their forms."""
    look = Look(
        closed=frozenset(one.name for one in contents.elements if one.normally_closed),
        element_links=_links(contents.elements, "equipment:element-edit") if may_manage else {},
        cavity_links=_links(contents.cavities, "equipment:cavity-edit") if may_manage else {},
    )
    return format_html("{}{}", *(draw_sketch(sketch, look, sheet) for sheet in (WIDE, NARROW)))


def _links(parts: Iterable[Cavity] | Iterable[SystemElement], name: str) -> dict[str, str]:
    return {part.name: reverse(name, args=[part.pk]) for part in parts}
