"""Guards: no component in two places or two in one, no reading rewritten, no pressure system across two stacks."""

from equipment.models import Cavity, CavityLimit, Installation, Position, PrechargeCheck, PrechargeReading
from equipment.models import PressureSystem as System
from equipment.models import SystemElement as Element
from trail.guards import Guard, append_only, row_guard

_TABLE = Installation._meta.db_table
_PLACE = "two components cannot stand in one position at the same time"
_COMPONENT = "one component cannot stand in two positions at the same time"


def _overlap(column: str) -> str:
    """SQL: another row of the same `column` shares time with NEW. Open ends reach to the end of time."""
    return (
        f'EXISTS (SELECT 1 FROM "{_TABLE}" AS other '
        f'WHERE other."{column}" = NEW."{column}" AND other."id" IS NOT NEW."id" '
        'AND (other."removed_at" IS NULL OR other."removed_at" > NEW."installed_at") '
        'AND (NEW."removed_at" IS NULL OR NEW."removed_at" > other."installed_at"))'
    )


def _no_overlap(column: str, message: str) -> Guard:
    name = f"{_TABLE}_{column}_overlap"
    sqlite = tuple(
        f'CREATE TRIGGER "{name}_{operation.lower()}" BEFORE {operation} ON "{_TABLE}" FOR EACH ROW '
        f"WHEN {_overlap(column)} BEGIN SELECT RAISE(ABORT, '{message}'); END"
        for operation in ("INSERT", "UPDATE")
    )
    return Guard(
        name=name,
        table=_TABLE,
        sqlite=sqlite,
        postgresql=(
            "CREATE EXTENSION IF NOT EXISTS btree_gist",
            f'ALTER TABLE "{_TABLE}" ADD CONSTRAINT "{name}" EXCLUDE USING gist '
            f"(\"{column}\" WITH =, tstzrange(installed_at, removed_at, '[)') WITH &&)",
        ),
        drop_postgresql=(f'ALTER TABLE "{_TABLE}" DROP CONSTRAINT IF EXISTS "{name}"',),
    )


_READING = "a precharge reading never changes: correct it by a later reading"

PRECHARGE_GUARDS = tuple(append_only(model._meta.db_table, _READING) for model in (PrechargeCheck, PrechargeReading))
INSTALLATION_GUARDS = (_no_overlap("position_id", _PLACE), _no_overlap("component_id", _COMPONENT))


_CAVITY, _SYSTEM, _POSITION = (f'"{model._meta.db_table}"' for model in (Cavity, System, Position))
_FOREIGN_CAVITY = (
    f"EXISTS (SELECT 1 FROM {_CAVITY} AS cavity WHERE cavity.id IN (NEW.well_side_id, NEW.far_side_id) "
    "AND cavity.system_id <> NEW.system_id)"
)
_FOREIGN_POSITION = (
    f"EXISTS (SELECT 1 FROM {_POSITION} AS place, {_SYSTEM} AS drawn WHERE place.id = NEW.position_id "
    "AND drawn.id = NEW.system_id AND place.stack_id <> drawn.stack_id)"
)
_FOREIGN_LIMIT = (
    f"EXISTS (SELECT 1 FROM {_POSITION} AS place, {_CAVITY} AS cavity, {_SYSTEM} AS drawn "
    "WHERE place.id = NEW.position_id AND cavity.id = NEW.cavity_id AND drawn.id = cavity.system_id "
    "AND place.stack_id <> drawn.stack_id)"
)


def _of_one_stack(table: str, foreign: str, message: str) -> tuple[Guard, ...]:
    """Refuse rows that join what belongs to two stacks, when they are written and when they are changed."""
    return tuple(
        row_guard(
            f"{table}_one_stack_{operation.lower()}",
            table,
            operation,
            when_sqlite=foreign,
            when_postgresql=foreign,
            message=message,
        )
        for operation in ("INSERT", "UPDATE")
    )


SYSTEM_GUARDS = (
    *_of_one_stack(
        Element._meta.db_table,
        f"({_FOREIGN_CAVITY} OR {_FOREIGN_POSITION})",
        "an element joins cavities and stands in a position of its own stack alone",
    ),
    *_of_one_stack(
        CavityLimit._meta.db_table, _FOREIGN_LIMIT, "a cavity is bounded by positions of its own stack alone"
    ),
)
