"""How the demo's crew signs a test: one after the other, each in the capacity their role gives."""

from datetime import datetime, timedelta
from typing import Final

from calcs.signing import open_seats
from tests_app import rulebook
from tests_app.actions.signing import sign_record
from tests_app.management.demo.site import Site
from tests_app.models import Record
from tests_app.queries.capacities import capacities_of

BETWEEN_SIGNATURES: Final = timedelta(minutes=6)


def sign_by_all(site: Site, record: Record, at: datetime) -> None:
    """Have every needed signature given, the first at `at`; each by the first of the crew who may."""
    edition = rulebook.edition(record.edition)
    given: list[str] = []
    free = list(site.signers)
    while still := open_seats(edition, given):
        signer, role = next(
            (one, role) for one in free for role in capacities_of(one.person, site.rig) if role.value in still[-1]
        )
        sign_record(record, role=role, password=signer.password, version=record.version, by=signer.person, at=at)
        free.remove(signer)
        given.append(role.value)
        at += BETWEEN_SIGNATURES
