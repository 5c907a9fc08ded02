"""Every obligation of a rig, worked out from what happened: a family of them a module, all put together here."""

from datetime import datetime

from equipment.models import Rig
from tests_app.queries.deriving.banks import bank_tests
from tests_app.queries.deriving.derived import Derived, Requirement, Subject
from tests_app.queries.deriving.facts import RigFacts
from tests_app.queries.deriving.functions import function_tests
from tests_app.queries.deriving.papers import papers
from tests_app.queries.deriving.pressure import pressure_tests
from tests_app.queries.deriving.scope import EVERYTHING, Scope
from tests_app.queries.deriving.works import works

__all__ = ["EVERYTHING", "Derived", "Requirement", "Scope", "Subject", "derive"]


def derive(rig: Rig, *, at: datetime, known_at: datetime | None = None, scope: Scope = EVERYTHING) -> list[Derived]:
    """Return every obligation of a rig as of `at`, each with its whole history. A constant number of queries.

    With `known_at` only what was entered by then counts: records opened and seals set, readings, work, deferrals,
    documents, and by the trail what was installed, removed or serviced. The rules are those followed at `at`. What can
    not be told apart: ratings, sections, instruments, bottles' papers and times that were corrected stand as they are
    now; lines of a draft count from its opening.
    """
    facts = RigFacts(rig, at, known_at, scope)
    found = [*pressure_tests(facts), *bank_tests(facts), *function_tests(facts), *works(facts), *papers(facts)]
    once = {one.key: one for one in reversed(found)}
    return [one for one in found if once[one.key] is one]
