"""Whose signatures a record has, whose it still needs, and who on its rig may give them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from accounts.models import User
from calcs.errors import InputError
from calcs.recurrence import moment_words
from calcs.rules import Edition
from calcs.signing import Seat, open_seats, seats
from equipment.models import CrewMember, CrewRole
from tests_app import rulebook
from tests_app.errors import SignedAlready
from tests_app.models import Record, Signature, SigningRole
from tests_app.queries.capacities import CAPACITIES


@dataclass(frozen=True)
class NeededSignature:
    """One signature a record needs.

    Attributes:
        capacities: in which capacities it can be given; any one of them.
        signature: the signature given, if any.
        able: who on the rig may give it, as ``Ida Storm, equipment supervisor``; empty once it is given.
    """

    capacities: tuple[SigningRole, ...]
    signature: Signature | None
    able: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """Return the capacities in words: ``pump operator``."""
        return " or ".join(capacity.label.lower() for capacity in self.capacities)


@dataclass(frozen=True)
class Signatories:
    """How the signing of a record stands.

    Attributes:
        needed: every signature needed, given or not.
        beside: signatures given beside those needed.
        clause: where it stands whose are needed; empty where the edition does not say.
        edition: id of that edition.
    """

    needed: tuple[NeededSignature, ...]
    beside: tuple[Signature, ...]
    clause: str
    edition: str

    @property
    def open(self) -> tuple[NeededSignature, ...]:
        """Return the signatures still needed."""
        return tuple(one for one in self.needed if one.signature is None)

    @property
    def words(self) -> str:
        """Return how far it is, in words: ``Signed by 1 of 3``."""
        return f"Signed by {len(self.needed) - len(self.open)} of {len(self.needed)}"

    def capacities_for(self, own: Sequence[SigningRole]) -> tuple[SigningRole, ...]:
        """Return of somebody's own capacities those not signed in yet, the needed ones first."""
        given = {one.role for one in self._given()}
        still = [capacity for capacity in own if capacity not in given]
        wanted = {capacity for one in self.open for capacity in one.capacities}
        return tuple(sorted(still, key=lambda capacity: capacity not in wanted))

    def signature_of(self, person: User) -> Signature | None:
        """Return the signature the person gave, if any."""
        return next((one for one in self._given() if one.signer_id == person.pk), None)

    def seals_with(self, own: Iterable[SigningRole]) -> bool:
        """Tell whether one signature in one of these capacities is the last one needed."""
        return len(self.open) == 1 and bool(set(self.open[0].capacities) & set(own))

    def _given(self) -> list[Signature]:
        return [*self.beside, *(one.signature for one in self.needed if one.signature is not None)]


def signatories_of(record: Record) -> Signatories:
    """Return how the signing of a record stands. Two queries."""
    edition = rulebook.edition(record.edition)
    given = list(record.signatures.order_by("signed_at", "id"))
    crew = list(CrewMember.objects.filter(rig=record.rig_id, person__is_active=True).select_related("person"))
    crew.sort(key=lambda member: member.person.name_shown)
    signed = {one.signer_id for one in given}
    free = [member for member in crew if member.person_id not in signed]
    needed = tuple(_needed(seat, given, free) for seat in seats(edition))
    filled = {one.signature.pk for one in needed if one.signature is not None}
    rule = edition.signatures
    return Signatories(
        needed=needed,
        beside=tuple(one for one in given if one.pk not in filled),
        clause=rule.source.clause if rule is not None else "",
        edition=edition.id,
    )


def signed_already(record: Record, person: User, *, role: str = "") -> SignedAlready | None:
    """Return the refusal, in words, of a second signature of a person or in a capacity, or of any after the seal."""
    given = list(record.signatures.order_by("signed_at", "id"))
    in_the_way = [one for one in given if one.signer_id == person.pk or one.role == role]
    if record.sealed_at is not None:
        in_the_way = in_the_way or given[-1:]
    if not in_the_way:
        return None
    moment = moment_words(in_the_way[0].signed_at, record.rig.zone)
    return SignedAlready(record, in_the_way[0], moment, sealed=record.sealed_at is not None)


def _needed(seat: Seat, given: Iterable[Signature], free: Iterable[CrewMember]) -> NeededSignature:
    capacities = tuple(SigningRole(capacity.value) for capacity in seat)
    signature = next((one for one in given if one.role in capacities), None)
    if signature is not None:
        return NeededSignature(capacities, signature)
    able = [member for member in free if set(CAPACITIES.get(member.role, ())) & set(capacities)]
    words = (f"{member.person.name_shown}, {CrewRole(member.role).label.lower()}" for member in able)
    return NeededSignature(capacities, None, tuple(words))


def signed_words(record: Record) -> str:
    """Return how far the signing of a listed record is; its signatures are read beforehand."""
    roles = [one.role for one in record.signatures.all()]
    try:
        edition: Edition = rulebook.published(record.edition)  # a rig's own copy changes no signatures
    except InputError:  # a list is shown even where the edition is no longer shipped
        return "Waiting for signatures"
    needed = len(seats(edition))
    return f"Signed by {needed - len(open_seats(edition, roles))} of {needed}"
