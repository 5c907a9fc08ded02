"""Signatures for the tests: given by the people a rig has for them, each under their own account."""

from datetime import datetime

from accounts.models import User
from calcs.signing import open_seats
from equipment.models import CrewMember, Rig
from tests import builders
from tests.builders import PASSWORD
from tests_app import rulebook
from tests_app.actions import signing
from tests_app.models import Record, Signature

SIGNERS = {"lessee": ("lessee", "Oda Reif"), "pump-operator": ("tester", "Per Holm")}
"""Who signs in a capacity beside the supervisor: the role on the rig, and the name."""


def a_signer(rig: Rig, capacity: str) -> User:
    """The person of the rig who signs in that capacity; put on its crew when nobody is."""
    role, name = SIGNERS[capacity]
    member = CrewMember.objects.filter(rig=rig, role=role).order_by("pk").first()
    if member is not None:
        return member.person
    person = builders.a_person(rig=rig, role=role)
    person.display_name = name
    person.save()
    return person


def one_signs(record: Record, capacity: str, *, by: User, at: datetime) -> Signature:
    """One signature under a record as it stands."""
    record.refresh_from_db()
    return signing.sign_record(record, role=capacity, password=PASSWORD, version=record.version, by=by, at=at)


def all_sign(record: Record, supervisor: User, *, at: datetime) -> Signature:
    """Every signature the record's rules need, the supervisor's last; that one is returned."""
    still = [capacities[0] for capacities in open_seats(rulebook.edition(record.edition), ())]
    others = [capacity for capacity in still if capacity in ("lessee", "pump-operator")]
    for capacity in others:
        one_signs(record, capacity, by=a_signer(record.rig, capacity), at=at)
    own = next(capacity for capacity in still if capacity not in others)
    return one_signs(record, own, by=supervisor, at=at)
