"""In which capacities a person may sign on a rig, by their role there."""

from collections.abc import Mapping
from typing import Final

from accounts.models import User
from equipment.models import CrewMember, CrewRole, Rig
from tests_app.models import SigningRole

CAPACITIES: Final[Mapping[str, tuple[SigningRole, ...]]] = {
    CrewRole.TESTER: (SigningRole.PUMP_OPERATOR, SigningRole.WITNESS),
    CrewRole.SUPERVISOR: (SigningRole.SUPERVISOR, SigningRole.CONTRACTOR, SigningRole.WITNESS),
    CrewRole.RIG_MANAGER: (SigningRole.CONTRACTOR, SigningRole.WITNESS),
    CrewRole.ADMINISTRATOR: tuple(SigningRole),
}
"""The capacities of each role, the usual one first."""


def capacities_of(person: User, rig: Rig) -> tuple[SigningRole, ...]:
    """Return in which capacities the person may sign on the rig, the usual one first; any for a superuser."""
    role = CrewMember.objects.filter(rig=rig, person=person).values_list("role", flat=True).first()
    own = CAPACITIES.get(role or "", ())
    return (*own, *(each for each in SigningRole if each not in own)) if person.is_superuser else own
