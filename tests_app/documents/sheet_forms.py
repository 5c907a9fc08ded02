"""The sheets that are brought in and given out, one form for both: their columns, and a rig's rows in them."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from calcs.sheet_cells import Amount
from calcs.sheets import Column, Holds, SheetForm
from calcs.units import Dimension
from equipment.models import Component, ComponentKind, Installation, Measured, Rig
from tests_app.documents.sheet_files import sheet_bytes
from tests_app.models import BROUGHT_TESTS, BroughtTest, PressureFrom, SheetKind

_KINDS: Final = dict(ComponentKind.choices)
_LENGTH, _PRESSURE, _VOLUME = Dimension.LENGTH, Dimension.PRESSURE, Dimension.VOLUME


def _text(key: str, head: str, example: str = "", words: str = "", *, required: bool = False) -> Column:
    return Column(key, head, example=example, words=words, required=required)


def _amount(key: str, head: str, dimension: Dimension, example: str, words: str = "") -> Column:
    return Column(key, head, Holds.AMOUNT, example, dimension=dimension, words=words)


def _moment(key: str, head: str, example: str, *, required: bool = False) -> Column:
    words = "On the rig's clock, or with its offset"
    return Column(key, head, Holds.MOMENT, example, required=required, words=words)


def _kind_and_serial() -> tuple[Column, Column]:
    return (
        Column("kind", "Kind", Holds.CHOICE, "Pipe ram", required=True, choices=_KINDS),
        _text("serial", "Serial number", "PR-4471", required=True),
    )


_COMPONENTS: Final = SheetForm(
    (
        *_kind_and_serial(),
        _text("maker", "Maker"),
        _text("model", "Model"),
        _amount("nominal_bore", "Nominal bore", _LENGTH, "13.625 in"),
        _amount("rated_working_pressure", "Rated working pressure", _PRESSURE, "10000 psi", "Gauge, off the nameplate"),
        _text("temperature_class", "Temperature class", words="As marked on the component"),
        _amount("closing_volume", "Closing volume", _VOLUME, "12.5 gal"),
        _amount("opening_volume", "Opening volume", _VOLUME, "11.8 gal"),
        Column("closing_ratio", "Closing ratio", Holds.NUMBER, "7.1"),
        Column("opening_ratio", "Opening ratio", Holds.NUMBER, "2.2"),
        _amount(
            "rated_operating_pressure", "Rated operating pressure", _PRESSURE, "3000 psi", "Of its operator, gauge"
        ),
        _amount("closes_on_smallest", "Smallest pipe", _LENGTH, "5 in", "Outside diameter"),
        _amount("closes_on_largest", "Largest pipe", _LENGTH, "5 in", "Outside diameter"),
        Column("closes_on_open_hole", "Seals with no pipe", Holds.YES_NO, "no"),
        Column("manufactured_on", "Manufactured on", Holds.DAY, "2019-05-14"),
        Column("last_major_inspection_on", "Last major inspection on", Holds.DAY, "2024-02-01"),
        _moment("retired_at", "Retired at", ""),
        _text("retired_reason", "Why retired"),
        _text("remarks", "Remarks"),
    )
)
_INSTALLATIONS: Final = SheetForm(
    (
        _text("stack", "Stack", "Surface stack", "Its name on this rig", required=True),
        _text("position", "Position", "Upper pipe ram", "Its name in the stack", required=True),
        *_kind_and_serial(),
        _moment("installed_at", "Installed at", "2026-01-04 09:30", required=True),
        _moment("removed_at", "Removed at", ""),
        _text("removal_reason", "Why removed", words="Needed where it was removed"),
    )
)
_TESTS: Final = SheetForm(
    (
        Column("what", "Test", Holds.CHOICE, "Pressure test", required=True, choices=dict(BROUGHT_TESTS)),
        *_kind_and_serial(),
        Column("pressure_from", "Pressure from", Holds.CHOICE, "From below", choices=dict(PressureFrom.choices)),
        _moment("started_at", "Began at", "2026-02-11 06:00", required=True),
        _moment("concluded_at", "Over at", "2026-02-11 06:45", required=True),
        Column("passed", "Passed", Holds.YES_NO, "yes", required=True),
        _amount("low_pressure", "Low pressure held", _PRESSURE, "270 psi", "Lowest in the hold, gauge"),
        _amount("high_pressure", "High pressure held", _PRESSURE, "10050 psi", "Lowest in the hold, gauge"),
        Column("held_minutes", "High hold, minutes", Holds.NUMBER, "5"),
        _text("tested_by", "Tested by", "Name, company", "Who tested, with the company", required=True),
        _text("certificate_number", "Certificate", "PT-0147", "Number of the paper of then", required=True),
        _text("remarks", "Remarks"),
    )
)
FORMS: Final[Mapping[str, SheetForm]] = {
    SheetKind.COMPONENTS: _COMPONENTS,
    SheetKind.INSTALLATIONS: _INSTALLATIONS,
    SheetKind.TESTS: _TESTS,
}


def values_of(form: SheetForm, row: Any, **of_others: Any) -> dict[str, Any]:
    """Return a row on file as a sheet holds it; `of_others` are values that stand on other rows."""
    own = [column.key for column in form.columns if column.key not in of_others]
    return {**{key: _told(getattr(row, key)) for key in own}, **of_others}


def _told(value: Any) -> Any:
    return Amount(value.text, value.unit) if isinstance(value, Measured) else value


def component_values(row: Component) -> dict[str, Any]:
    """Return a component as its sheet holds it."""
    return values_of(_COMPONENTS, row)


def installation_values(row: Installation) -> dict[str, Any]:
    """Return an installation as its sheet holds it."""
    component, position = row.component, row.position
    return values_of(
        _INSTALLATIONS,
        row,
        stack=position.stack.name,
        position=position.name,
        kind=component.kind,
        serial=component.serial,
    )


def past_test_values(row: BroughtTest) -> dict[str, Any]:
    """Return a test brought in as its sheet holds it."""
    return values_of(_TESTS, row, kind=row.component.kind, serial=row.component.serial)


def rows_of(rig: Rig, sheet: str) -> Iterator[dict[str, Any]]:
    """Yield every row a rig has on file for a sheet, in an order that stays."""
    if sheet == SheetKind.COMPONENTS:
        yield from map(component_values, rig.components.order_by("kind", "serial"))
    elif sheet == SheetKind.INSTALLATIONS:
        stays = Installation.objects.filter(position__stack__rig=rig).select_related("component", "position__stack")
        stays = stays.order_by("position__stack__name", "installed_at", "position__name", "component__serial")
        yield from map(installation_values, stays)
    else:
        tests = BroughtTest.objects.filter(rig=rig, withdrawn_at__isnull=True).select_related("component")
        tests = tests.order_by("concluded_at", "component__kind", "component__serial", "what", "pressure_from")
        yield from map(past_test_values, tests)


def export_sheet(rig: Rig, sheet: str, kind: str) -> bytes:
    """Return all a rig has on file for a sheet as a file of `kind`, in the form it can be brought in again."""
    form = FORMS[sheet]
    rows = [form.write(values, rig.zone) for values in rows_of(rig, sheet)]
    return sheet_bytes(kind, form.heads, rows, title=SheetKind(sheet).label)


def template_sheet(sheet: str, kind: str) -> bytes:
    """Return an empty file with the names of the columns, to be filled in."""
    return sheet_bytes(kind, FORMS[sheet].heads, [], title=SheetKind(sheet).label)
