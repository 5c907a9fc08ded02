"""What the database refuses, said kindly: each constraint with the field it concerns and the remedy."""

from collections.abc import Collection
from dataclasses import dataclass
from functools import cache, reduce
from operator import and_
from typing import Final

from django.core.exceptions import ValidationError
from django.db import DatabaseError, models
from django.db.models import Q, Value

from equipment.errors import Refused
from equipment.models import QuantityField


@dataclass(frozen=True)
class Kindly:
    """How the breach of one constraint is told: the field beside which, and what to do instead."""

    field: str
    remedy: str


_CONSTRAINTS: Final = {
    "crewmember_once_a_rig": Kindly("person", "Change the role they have, or choose another person."),
    "well_name_once_a_rig": Kindly("name", "Choose another name, or open that well."),
    "well_finished_after_spud": Kindly("finished_on", "Check both days."),
    "holesection_order_once": Kindly("order", "Give the next free number."),
    "holesection_name_once": Kindly("name", "Choose another name, or amend that section."),
    "holesection_entered_masp_has_reason": Kindly("masp_reason", "Say where the figure comes from."),
    "stack_name_once_a_rig": Kindly("name", "Choose another name, or open that stack."),
    "position_order_once": Kindly("order", "Give another number."),
    "position_name_once": Kindly("name", "Choose another name, such as one with its side or number."),
    "controlitem_name_once_a_stack": Kindly("name", "Choose another name, or open that one."),
    "controlitem_place_once_a_stack": Kindly("place", "Take that one out of service first, or choose another place."),
    "controlitem_retired_after_start": Kindly("retired_at", "Check the time against when it came into service."),
    "cavity_name_once_a_system": Kindly("name", "Choose another name, or open that cavity."),
    "cavity_pumped_or_vented": Kindly("is_pump_point", "Choose one of the two; a valve between them makes both."),
    "cavity_rating_positive": Kindly("rating", "Read it off the nameplate, or leave it empty."),
    "cavitylimit_position_once": Kindly("limited_by", "Take it out of that cavity first."),
    "systemelement_name_once_a_system": Kindly("name", "Choose another name, or open that element."),
    "systemelement_position_once": Kindly("position", "Open that element, or choose another position."),
    "systemelement_joins_two": Kindly("far_side", "Choose another cavity on one of its sides."),
    "systemelement_rating_positive": Kindly("rating", "Read it off the nameplate, or leave it empty."),
    "component_serial_once": Kindly("serial", "Check the serial number, or amend the component on file."),
    "component_closing_ratio_positive": Kindly("closing_ratio", "Check the figure, or leave it empty."),
    "component_opening_ratio_positive": Kindly("opening_ratio", "Check the figure, or leave it empty."),
    "component_pipe_range_ordered": Kindly("closes_on_largest", "Check both sizes; they may have been swapped."),
    "component_rwp_positive": Kindly("rated_working_pressure", "Read it off the nameplate."),
    "instrument_serial_once": Kindly("serial", "Check the serial number, or amend the instrument on file."),
    "instrument_range_ordered": Kindly("range_high", "Check both ends of the range; they may have been swapped."),
    "instrument_calibration_ordered": Kindly("calibration_due_on", "Check both days."),
    "elastomer_removed_after_installed": Kindly("removed_on", "Check both days."),
    "document_expires_after_issue": Kindly("expires_on", "Check both days."),
    "document_followed_once": Kindly("", "Renew the one that follows it, or withdraw that entry first."),
    "bank_subsea_has_depth": Kindly("depth", "Fill in depth and gradient, or leave the depth empty at surface."),
    "bank_surface_precharge_as_set": Kindly("precharge_basis", "Choose “as set”, or place the bank subsea."),
    "bank_precharge_positive": Kindly("design_precharge", "Take it from the bank's papers."),
    "bank_charged_over_precharge": Kindly("charged_pressure", "Check both; they may have been swapped."),
    "bank_minimum_under_charged": Kindly("minimum_operating_pressure", "Check both; they may have been swapped."),
    "bank_tolerance_has_source": Kindly(
        "tolerance_source", "Name the standard, manual or procedure, or leave the tolerance empty too."
    ),
    "bottle_serial_once": Kindly("serial", "Check the serial number, or amend the bottle on file."),
    "bottle_position_once": Kindly("position_number", "Remove that one first, or give another number."),
    "bottle_gas_volume_positive": Kindly("gas_volume", "Read it off the nameplate."),
    "bottle_gas_within_shell": Kindly(
        "gas_volume", "Give the gas volume, not the size by which it is sold: 10 gal in a bottle of 11 gal."
    ),
    "bottle_shell_test_ordered": Kindly("shell_test_due_on", "Check both days."),
    "bottle_out_of_use_has_reason": Kindly("state_reason", "Say why it is not in service."),
    "prechargecheck_fluid_bled_off": Kindly(
        "fluid_bled_off", "Isolate the pumps, bleed the fluid off to zero, then read."
    ),
    "prechargereading_once_a_round": Kindly("", "Correct the reading on file."),
    "prechargereading_not_negative": Kindly("pressure", "Check the figure."),
    "prechargereading_correction_has_reason": Kindly("reason", "Say what was wrong."),
    "installation_removed_after_installed": Kindly("removed_at", "Check the time against the time of installation."),
    "installation_component_once": Kindly("component", "Look at its history for where it stands."),
    "installation_position_once": Kindly("position", "Look at the history of the position."),
}

_TAKEN: Final = "This is taken already. Choose another, or open the one on file."

_OVERLAPS: Final = {
    "two components cannot stand in one position": Refused(
        "installed_at",
        "Another component stood in this position at that time.",
        "Look at the history of the position and give a time when it was empty.",
    ),
    "one component cannot stand in two positions": Refused(
        "installed_at",
        "This component stood in another position at that time.",
        "Look at its history and give a time after it was removed there.",
    ),
}
_OVERLAP_CONSTRAINTS: Final = {
    "equipment_installation_position_id_overlap": "two components cannot stand in one position",
    "equipment_installation_component_id_overlap": "one component cannot stand in two positions",
}


def refuse_invalid(row: models.Model, *, exclude: Collection[str] = ()) -> None:
    """Validate a row before it is saved, but for the fields to `exclude`: those the program fills.

    Raises ValidationError with every field at fault, keyed by the name a caller uses for it (a quantity's
    three columns go by one), or Refused for the first constraint that would not hold.
    """
    try:
        row.full_clean(exclude=exclude, validate_constraints=False, validate_unique=True)
    except ValidationError as error:
        raise ValidationError(_by_caller_name(row, error)) from error
    hold = _all_checks_hold(row)
    for constraint in row._meta.constraints:
        if hold and isinstance(constraint, models.CheckConstraint):
            continue
        try:
            constraint.validate(type(row), row)
        except ValidationError as error:
            raise _said_kindly(row, constraint, " ".join(error.messages)) from error


def _all_checks_hold(row: models.Model) -> bool:
    """Ask the database in one question whether the row breaks none of its checks: one for each takes far longer."""
    together, named = _checks_of(type(row))
    columns = [field for field in row._meta.concrete_fields if field.name in named]
    return together.check({field.name: Value(getattr(row, field.attname), field) for field in columns})


@cache
def _checks_of(model: type[models.Model]) -> tuple[Q, frozenset[str]]:
    """Return the checks of a model's table as one condition, and the fields it is about."""
    checks = [Q(one.condition) for one in model._meta.constraints if isinstance(one, models.CheckConstraint)]
    together = reduce(and_, checks, Q(Value(True)))
    return together, frozenset[str]().union(*(check.referenced_base_fields for check in checks))


def from_database(row: models.Model, error: DatabaseError) -> Refused:
    """Return the refusal for what the database itself refused: a race another person won."""
    text = str(error)
    cause = error.__cause__
    named = str(getattr(getattr(cause, "diag", None), "constraint_name", "") or "")
    for message, refused in _OVERLAPS.items():
        if message in text or _OVERLAP_CONSTRAINTS.get(named) == message:
            return Refused(refused.field, refused.reason, refused.remedy)
    for constraint in row._meta.constraints:
        if constraint.name == named or _is_named(constraint, row, text):
            return _said_kindly(row, constraint, str(constraint.violation_error_message))
    return Refused("", "The database refused this: something changed meanwhile.", "Look again, then try once more.")


def _said_kindly(row: models.Model, constraint: models.BaseConstraint, reason: str) -> Refused:
    kindly = _CONSTRAINTS.get(constraint.name)
    if kindly is None:
        quantity = constraint.name.removeprefix(f"{row._meta.model_name}_").removesuffix("_whole")
        kindly = Kindly(quantity if quantity in quantity_fields(row) else "", "Check what was entered.")
    return Refused(kindly.field, reason, kindly.remedy)


def _is_named(constraint: models.BaseConstraint, row: models.Model, text: str) -> bool:
    """Tell whether SQLite's message means the constraint: it names checks, but of unique ones the columns."""
    if f"CHECK constraint failed: {constraint.name}" in text:
        return True
    if not isinstance(constraint, models.UniqueConstraint):
        return False
    columns = [f"{row._meta.db_table}.{_column(row, name)}" for name in constraint.fields]
    return text.rstrip().endswith(f"UNIQUE constraint failed: {', '.join(columns)}")


def _column(row: models.Model, name: str) -> str:
    return next(str(field.column) for field in row._meta.concrete_fields if field.name == name)


def quantity_fields(row: models.Model) -> tuple[str, ...]:
    """Return the names of the quantities on a row's model."""
    return tuple(name for name, kind in vars(type(row)).items() if isinstance(kind, QuantityField))


def _by_caller_name(row: models.Model, error: ValidationError) -> dict[str, list[str]]:
    columns = {f"{name}_{part}": name for name in quantity_fields(row) for part in ("value", "unit", "si")}
    found: dict[str, list[str]] = {}
    for field, errors in error.error_dict.items():
        name = columns.get(field, field)
        said = found.setdefault(name, [])
        for one in errors:
            message = _TAKEN if one.code == "unique" else " ".join(one.messages)
            if message not in said:
                said.append(message)
    return found
