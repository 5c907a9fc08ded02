"""Guards of history: no two components in one place, no component in two places at a time, no reading rewritten."""

from equipment.models import Installation, PrechargeCheck, PrechargeReading
from trail.guards import Guard, append_only

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
