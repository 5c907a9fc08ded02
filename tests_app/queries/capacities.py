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
    CrewRole.LESSEE: (SigningRole.LESSEE, SigningRole.WITNESS),
}
"""The capacities of each role, the usual one first. A role that is not named signs nothing."""


def capacities_of(person: User, rig: Rig) -> tuple[SigningRole, ...]:
    """Return in which capacities the person may sign on the rig, the usual one first.

    A superuser signs as their role on the rig allows and no further: running the program makes nobody the
    lessee's representative, and a certificate that said so would be untrue.
    """
    role = CrewMember.objects.filter(rig=rig, person=person).values_list("role", flat=True).first()
    return CAPACITIES.get(role or "", ())
