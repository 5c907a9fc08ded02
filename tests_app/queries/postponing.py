"""Whether a test may wait for safety by the rules of a rig, and for which reasons."""

from calcs.schedule_rules import PostponementRule, postponement_of
from equipment.errors import Refused
from tests_app.queries.due_of import is_test
from tests_app.queries.owed import Owed
from tests_app.queries.requirements import edition_of


def rule_for_waiting(owed: Owed) -> PostponementRule:
    """Return why such a test may wait by the rules of the rig; raises Refused where it may not."""
    if not is_test(owed.what):
        raise Refused("", f"Only tests wait for safety, and {_a(owed.what.label)} is none.", "Ask for a deferral.")
    edition = edition_of(owed.rig)
    rule = postponement_of(edition)
    if rule is None:
        raise Refused(
            "reason",
            f"{edition.title} has no clause by which a test may wait for well control.",
            "Make the well safe first, note it in the daily report, and ask the regulator for a deferral.",
        )
    return rule


def _a(noun: str) -> str:
    words = noun.lower()
    return f"{'an' if words[0] in 'aeiou' else 'a'} {words}"
