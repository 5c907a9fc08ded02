"""Tests made for a hole section that was finished before: its wellhead, casing and MASP are those of yesterday."""

from collections.abc import Iterator

from equipment.models import HoleSection
from equipment.queries.wells import section_drilled
from tests_app.models import Record


def is_finished(section: HoleSection, drilled: HoleSection | None) -> bool:
    """Tell whether a section was drilled before the one being drilled; one not begun yet is tested for ahead."""
    if drilled is None or section.pk == drilled.pk or section.begins_at is None or drilled.begins_at is None:
        return False
    return section.begins_at <= drilled.begins_at


def finished_section(record: Record) -> Iterator[tuple[str, str, str, bool]]:
    """Advise (field, reason, remedy, blocks) on a test made for a section finished before it began. One query."""
    section = record.section
    drilled = section_drilled(record.rig, at=record.started_at) if section is not None else None
    if section is not None and drilled is not None and is_finished(section, drilled):
        told = f"The test is made for {section}, and {drilled} was being drilled when it began."
        yield "section", told, "Choose the section being drilled: its MASP, wellhead and casing count.", False
