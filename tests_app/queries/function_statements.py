"""What has to be so before a function test: which statements its lines call for, and which are confirmed."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from calcs.rotation import statements_for
from calcs.schedule_rules import Prerequisite
from equipment.queries.stacks import position_roles, positions_of
from tests_app.models import FunctionLine, Record
from tests_app.queries.drawdowns import edition_of_record
from tests_app.queries.function_subjects import rule_stack
from tests_app.queries.requirements import OCCASIONS

STATEMENT_WORDS: Final = {
    Prerequisite.ROV_ON_BOTTOM: "An ROV was on bottom and watched.",
    Prerequisite.WELL_SECURED: "The well was secured.",
    Prerequisite.QUICK_DISCONNECT_POSSIBLE: "The rig could have disconnected quickly.",
    Prerequisite.PIPE_CLEAR: "No pipe or tool joint stood in the way of what closed.",
    Prerequisite.ON_STUMP_AFTER_LONG_REPAIR: "It was tested on deck first, where the repair took more than 30 days.",
}


@dataclass(frozen=True)
class Asked:
    """One statement a test calls for: its words, the clauses that ask, for what, and who confirmed it, if anybody."""

    key: str
    words: str
    clause: str
    about: tuple[str, ...]
    confirmed_by: str = ""

    @property
    def is_confirmed(self) -> bool:
        """Tell whether somebody confirmed it."""
        return bool(self.confirmed_by)


def statements_of(record: Record, lines: Iterable[FunctionLine]) -> list[Asked]:
    """Return the statements the lines of a test call for, by its edition and reason. One query."""
    edition, stack = edition_of_record(record), rule_stack(record.stack)
    occasion = OCCASIONS[record.function_test.reason]
    roles = position_roles(positions_of(record.stack))
    found: dict[Prerequisite, list[tuple[str, str]]] = {}
    for line in lines:
        kind, role = line.subject_as_tested["kind"], roles.get(line.position_id or 0, "")
        for one in statements_for(edition, kind, stack=stack, position=role, occasion=occasion):
            found.setdefault(one.prerequisite, []).append((one.clause, line.subject_as_tested["name"]))
    said = {one["key"]: one["by"] for one in record.function_test.confirmed}
    return [_asked(prerequisite, found[prerequisite], said) for prerequisite in Prerequisite if prerequisite in found]


def unconfirmed(record: Record) -> list[Asked]:
    """Return the statements of a test that nobody confirmed. Two queries."""
    return [one for one in statements_of(record, record.function_lines.all()) if not one.is_confirmed]


def _asked(prerequisite: Prerequisite, calls: Sequence[tuple[str, str]], said: dict[str, Any]) -> Asked:
    return Asked(
        key=prerequisite.value,
        words=STATEMENT_WORDS[prerequisite],
        clause="; ".join(dict.fromkeys(clause for clause, _ in calls)),
        about=tuple(dict.fromkeys(name for _, name in calls)),
        confirmed_by=str(said.get(prerequisite.value, "")),
    )
