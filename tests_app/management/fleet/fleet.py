"""Makes the invented fleet, a rig at a time: each is written whole in a transaction of its own, or not at all."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction

from accounts.models import User
from equipment.models import Rig
from tests_app.actions.obligations import reconcile
from tests_app.management.fleet.banks import write_precharges
from tests_app.management.fleet.designs import name_of
from tests_app.management.fleet.founding import MANAGER, founded
from tests_app.management.fleet.papers import Paper, shared_paper
from tests_app.management.fleet.plans import Plans
from tests_app.management.fleet.rounds import Test, history
from tests_app.management.fleet.sealed import write_draft, write_test
from tests_app.management.fleet.shelf import Shelf
from tests_app.models import TestReason

DRAFTS = 0.08
"""Share of rigs with a test begun and not signed when the history ends."""


@dataclass(frozen=True)
class Made:
    """One rig that was written: its row, and how many components, lines of tests and obligations it has."""

    rig: Rig
    components: int
    lines: int
    obligations: int


class NotOurs(Exception):
    """The database holds rigs that are not of this fleet."""

    def __init__(self, names: list[str]) -> None:
        super().__init__(f"The database holds rigs that are not of the invented fleet: {', '.join(names)}.")
        self.names = names


def already_made(rigs: int) -> int:
    """Return how many rigs of the fleet are there, from the first on; raises NotOurs where there are any others."""
    on_file = set(Rig.objects.values_list("name", flat=True))
    made = next((number - 1 for number in range(1, rigs + 1) if name_of(number) not in on_file), rigs)
    others = on_file - {name_of(number) for number in range(1, made + 1)}
    if others:
        raise NotOurs(sorted(others)[:5])
    return made


def make_rigs(first: int, last: int, *, years: int, seed: int, until: datetime) -> Iterator[Made]:
    """Write the fleet's rigs of these numbers and yield each when it is in the database."""
    paper, plans, manager = shared_paper(), Plans(), _manager()
    shelf = Shelf()
    for number in range(first, last + 1):
        yield _make(shelf, plans, number, years=years, seed=seed, until=until, manager=manager, paper=paper)


@transaction.atomic
def _make(
    shelf: Shelf, plans: Plans, number: int, *, years: int, seed: int, until: datetime, manager: User, paper: Paper
) -> Made:
    site = founded(shelf, number, years=years, seed=seed, until=until, manager=manager, paper=paper)
    write_precharges(site)
    last: Test | None = None
    lines = 0
    for test in history(site, plans):
        write_test(site, test, paper)
        shelf.write_when_full()
        last = test
        lines += test.lines
    if last is not None and site.chance.random() < DRAFTS:
        begun_at = until - timedelta(hours=1)
        write_draft(site, Test(begun_at, last.line_up, TestReason.INTERVAL, last.steps))
    shelf.write(told=True)
    shelf.settle_keys()
    owed = reconcile(site.rig, at=until).count
    return Made(site.rig, site.components, lines, owed)


def _manager() -> User:
    """Return the person who sees the whole fleet; nobody can sign in as them before they are given a password."""
    user = User.objects.filter(username=MANAGER).first()
    if user is None:
        user = User(username=MANAGER, display_name="Fleet manager")
        user.set_unusable_password()
        user.save()
    return user
