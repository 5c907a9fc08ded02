"""How long a fleet's due dates take, and the pages that show them, against the bare SQL they need.

The fleet is invented (`manage.py make_fleet`). Bare means the same statements sent again and every row fetched, with
nothing around it. Where the aim is a time and no ratio, it is told beside: the columns "usual" and "19 of 20" hold it.
"""

import time
from collections.abc import Callable, Iterable
from datetime import datetime
from itertools import cycle
from pathlib import Path
from typing import Final

from bench.scratch import Bare, fleet  # sets Django up: first

# isort: split
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from accounts.models import User
from bench.contest import Bound, Contest
from equipment.models import CrewMember, Rig
from tests_app.actions.obligations import reconcile
from tests_app.management.fleet.founding import MANAGER
from tests_app.models import Obligation
from tests_app.queries.deriving import Scope
from tests_app.queries.obligations import due_of
from tests_app.queries.reckoned import compare

PAGE_ROUNDS: Final = 40
NEEDED: Final = ("what", "interval", "deadline", "events", "stated")
BOARD_TIMES_BARE, BOARD_EXTRA_S = 3, 0.020
FEW: Final = 2
GROWTH_MB: Final = 100


def contests() -> list[Contest]:
    """Ask for all dates from what is stored, for all from the records, for one event, and for two pages."""
    rigs = fleet()
    return [from_stored(rigs), from_records(rigs), one_event(rigs), due_list_page(rigs), board_page()]


def from_stored(rigs: list[Rig]) -> Contest:
    """Every deadline of the fleet, from the events kept: 10,000 a second and core is the aim."""
    at = timezone.now()

    def ours() -> int:
        return sum(_deadlines(rig, at) for rig in rigs)

    return Contest(
        question=f"every deadline of {len(rigs)} rigs, from the events kept",
        ours=ours,
        floor=Bare.of(ours),
        floor_is="the same rows read bare",
        limit=40,
        rounds=3,
        things=ours(),
    )


def _deadlines(rig: Rig, at: datetime) -> int:
    """Work every deadline of a rig out for a moment; returns how many there are."""
    zone = rig.zone
    rows = Obligation.objects.filter(rig=rig, error="").order_by().only(*NEEDED)
    return len([due_of(row, at=at, zone=zone) for row in rows])


def from_records(rigs: list[Rig]) -> Contest:
    """Everything owed on every rig worked out from what happened, and held against what is stored."""
    at = timezone.now()

    def ours() -> None:
        for rig in rigs:
            compare(rig, at=at)

    return Contest(
        question=f"all owed on {len(rigs)} rigs, from what happened",
        ours=ours,
        floor=Bare.of(ours),
        floor_is="the same rows read bare",
        limit=25,
        rounds=2,
        things=Obligation.objects.filter(rig__in=rigs).count(),
    )


def one_event(rigs: list[Rig]) -> Contest:
    """What one component's event may have moved, worked out anew and written: 10 ms is the aim."""
    at = timezone.now()
    scopes = [(rig, Scope.of(components=[_a_ram(rig)])) for rig in rigs[:10]]
    turns = cycle(scopes)

    def ours() -> None:
        rig, scope = next(turns)
        reconcile(rig, at=at, scope=scope)

    rig, scope = scopes[0]
    return Contest(
        question="one component's event",
        ours=ours,
        floor=Bare.of(lambda: compare(rig, at=at, scope=scope)),
        floor_is="the rows it reads, bare",
        limit=40,
        rounds=PAGE_ROUNDS,
    )


def _a_ram(rig: Rig) -> int:
    found = Obligation.objects.filter(rig=rig, what="pressure-test", component__kind__contains="ram").first()
    assert found is not None
    assert found.component_id is not None
    return found.component_id


def due_list_page(rigs: list[Rig]) -> Contest:
    """The due list of rig after rig, as a browser asks for it."""
    get = _signed_in(MANAGER)
    turns = cycle(rigs)

    def ours() -> None:
        get(f"/rigs/{next(turns).pk}/")

    return Contest(
        question="due list page",
        ours=ours,
        floor=Bare.of(ours),
        floor_is="its SQL, bare",
        limit=100,
        rounds=PAGE_ROUNDS,
    )


def board_page() -> Contest:
    """The fleet board of somebody who sees every rig, against three times its SQL and 20 ms."""
    get = _signed_in(MANAGER)
    bare = Bare.of(lambda: get("/"))

    def floor() -> None:
        ends = time.perf_counter() + BOARD_EXTRA_S
        while time.perf_counter() < ends:
            pass
        for _ in range(BOARD_TIMES_BARE):
            bare()

    return Contest(
        question="fleet board",
        ours=lambda: get("/"),
        floor=floor,
        floor_is=f"{BOARD_TIMES_BARE} × its SQL, bare, and {BOARD_EXTRA_S * 1000:.0f} ms",
        limit=1.0,
        rounds=PAGE_ROUNDS,
    )


def bounds() -> list[Bound]:
    """Ask whether pages send more SQL for more rigs, and how memory grows while a fleet is worked out."""
    rigs = fleet()
    few = _sees_few(rigs)
    board = [_queries(_signed_in(name), "/") for name in (few, MANAGER)]
    lists = [_queries(_signed_in(MANAGER), f"/rigs/{rig.pk}/") for rig in (rigs[0], rigs[-1])]
    return [
        Bound(f"statements of the fleet board, {len(rigs)} rigs", board[1], board[0], f"(of {FEW} rigs)"),
        Bound("statements of the due list, last rig", lists[1], lists[0], "(of the first)"),
        Bound(f"memory more after working out {len(rigs)} rigs", _growth(rigs), GROWTH_MB, "MB"),
    ]


def _sees_few(rigs: list[Rig]) -> str:
    name = "fleet.few"
    person, _ = User.objects.get_or_create(username=name)
    for rig in rigs[:FEW]:
        CrewMember.objects.get_or_create(rig=rig, person=person, defaults={"role": "rig-manager"})
    return name


def _signed_in(name: str) -> Callable[[str], None]:
    client = Client()
    client.force_login(User.objects.get(username=name))

    def get(address: str) -> None:
        answer = client.get(address)
        if answer.status_code != 200:
            raise AssertionError(f"{address} answers {answer.status_code}.")

    return get


def _queries(get: Callable[[str], None], address: str) -> int:
    get(address)  # what is read once a process
    with CaptureQueriesContext(connection) as sent:
        get(address)
    return len(sent)


def _growth(rigs: Iterable[Rig]) -> float:
    """Return by how many MB the process grew at most while what is owed was worked out on rig after rig."""
    at = timezone.now()
    compare(next(iter(rigs)), at=at)
    before = _memory_mb("VmRSS")
    Path("/proc/self/clear_refs").write_text("5")  # the peak counts from here on
    for rig in rigs:
        compare(rig, at=at)
    return _memory_mb("VmHWM") - before


def _memory_mb(what: str) -> float:
    """Return a figure of the process's memory as Linux keeps it: VmRSS what it holds, VmHWM the most it held."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(float(line.split()[1]) / 1024 for line in lines if line.startswith(f"{what}:"))
