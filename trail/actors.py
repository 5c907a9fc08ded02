"""Who acts: a signed-in person, or the system itself."""

from enum import Enum

from accounts.models import User


class System(Enum):
    """Actors that are no person."""

    SCHEDULER = "Scheduler"
    CERTIFICATES = "Certificate maker"
    PLANNER = "Line-up planner"
    DEMO = "Demo loader"
    RULE_BOOK = "Rule book"


Actor = User | System


def name_of(actor: Actor) -> str:
    """Return the actor's name as it is written in the trail."""
    if isinstance(actor, System):
        return actor.value
    return actor.name_shown


def person_of(actor: Actor) -> User | None:
    """Return the actor's account, or None for the system."""
    return None if isinstance(actor, System) else actor
