"""The rig of an invented fleet as it is first put on file: people, stack, components, wells, instruments, banks."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any, Final

from accounts.models import User
from calcs.units import Dimension
from equipment.models import (
    RAM_KINDS,
    Bank,
    Bottle,
    Component,
    CrewMember,
    CrewRole,
    Document,
    Elastomer,
    HoleSection,
    Installation,
    Instrument,
    Position,
    Rig,
    Stack,
    Well,
)
from tests_app import rulebook
from tests_app.management.fleet.designs import SPARE_KINDS, Design, design_of, name_of
from tests_app.management.fleet.papers import Paper
from tests_app.management.fleet.shelf import Shelf
from tests_app.management.fleet.site import Site, measured, quantities
from tests_app.models import Programme
from trail.entries import snapshot
from trail.models import TrailEntry

DAYS_A_YEAR: Final = 365
WRITER: Final = "Fleet maker"
MANAGER: Final = "fleet.manager"
ROLES: Final = (CrewRole.SUPERVISOR, CrewRole.TESTER, CrewRole.RIG_MANAGER, CrewRole.LESSEE)
WELL_DAYS: Final = (55, 95)
SECTIONS: Final[tuple[tuple[str, int, int], ...]] = (
    ("17 1/2 in section", 0, 2_500),
    ("12 1/4 in section", 18, 3_600),
    ("8 1/2 in section", 38, 4_800),
)
"""Name, days after the spud, MASP in psi."""
INSTRUMENTS: Final = (
    ("gauge", "PG", "15,000 psi"),
    ("gauge", "PL", "1,000 psi"),
    ("chart-recorder", "CR", "15,000 psi"),
)
BOTTLES: Final = (12, 24)
WITH_ELASTOMER: Final = RAM_KINDS | {"annular"}


def founded(shelf: Shelf, number: int, *, years: int, seed: int, until: datetime, manager: User, paper: Paper) -> Site:
    """Put the fleet's rig of that number on file; `paper` stands in place of all its documents."""
    chance = Random(f"{seed}/{number}")
    design = design_of(number)
    founded_at = _hour(until) - timedelta(days=years * DAYS_A_YEAR)
    rig = shelf.put(
        Rig(
            name=name_of(number),
            kind=design.rig_kind,
            time_zone=chance.choice(design.zones),
            display_units=design.units,
            created_at=founded_at,
        )
    )
    site = Site(shelf, number, chance, design, rulebook.edition(design.edition), rig, founded_at, until)
    told(site, "rig.registered", rig, founded_at)
    shelf.put(Programme(rig=rig, edition=design.edition, chosen_at=founded_at, chosen_by=WRITER))
    _man(site, number, manager)
    _stack(site, paper)
    _wells(site)
    _instruments(site)
    return site


def told(site: Site, event: str, row: Any, at: datetime, after: dict[str, Any] | None = None) -> None:
    """Write the trail entry an action would have written."""
    site.shelf.put(
        TrailEntry(
            at=at,
            actor_name=WRITER,
            event=event,
            subject_type=row._meta.label_lower,
            subject_id=row.pk,
            subject_label=str(row)[:200],
            rig_number=site.rig.pk,
            after=snapshot(row) if after is None else after,
        )
    )


def _hour(moment: datetime) -> datetime:
    return moment.astimezone(UTC).replace(minute=0, second=0, microsecond=0)


def _man(site: Site, number: int, manager: User) -> None:
    for role in ROLES:
        user = User(username=f"fleet.{number:03d}.{role}", display_name=f"{CrewRole(role).label} {number:03d}")
        user.set_unusable_password()
        site.crew[role] = site.shelf.put(user)
        site.shelf.put(CrewMember(rig=site.rig, person=user, role=role))
    site.shelf.put(CrewMember(rig=site.rig, person=manager, role=CrewRole.RIG_MANAGER))


def _stack(site: Site, paper: Paper) -> None:
    site.stack = site.shelf.put(Stack(rig=site.rig, name=f"{site.rig.name} stack", kind=site.design.stack_kind))
    told(site, "stack.registered", site.stack, site.founded_at)
    placed: dict[str, Position] = {}
    for order, place in enumerate(site.design.places, start=1):
        position = Position(
            stack=site.stack,
            order=order,
            name=place.name,
            kind=place.kind,
            group=place.group,
            outlet_of=placed.get(place.outlet_of),
        )
        placed[place.name] = site.shelf.put(position)
        site.positions.append(position)
        component = _component(site, place.kind, place.psi, paper)
        site.standing.append(installed(site, component, position, site.founded_at))
        if place.kind == "accumulator-bank":
            _bank(site, component)
    for kind, psi in _spares(site.design):
        site.spares.append(_component(site, kind, psi, paper))


def installed(site: Site, component: Component, position: Position, at: datetime) -> Installation:
    """Have a component stand in a position from a moment on."""
    row = site.shelf.put(Installation(component=component, position=position, installed_at=at))
    told(site, "component.installed", row, at)
    return row


def _spares(design: Design) -> Iterator[tuple[str, int]]:
    rated = {place.kind: place.psi for place in design.places}
    return ((kind, rated[kind]) for kind in SPARE_KINDS if kind in rated)


def _component(site: Site, kind: str, psi: int, paper: Paper) -> Component:
    site.components += 1
    serial = f"{''.join(word[0] for word in kind.split('-')).upper()}-{site.number:03d}-{site.components:03d}"
    made_on = (site.founded_at - timedelta(days=site.chance.randrange(200, 3_000))).date()
    control = kind in {"closing-unit", "accumulator-bank"}
    facts: dict[str, Any] = {
        "rated_operating_pressure" if control else "rated_working_pressure": measured(f"{psi:,} psi")
    }
    if kind in WITH_ELASTOMER:
        facts |= {
            "nominal_bore": measured("18.75 in" if psi > 10_000 else "13.625 in", Dimension.LENGTH),
            "closing_volume": measured("12.5 gal", Dimension.VOLUME),
            "opening_volume": measured("11.8 gal", Dimension.VOLUME),
        }
    row = site.shelf.put(
        Component(rig=site.rig, kind=kind, serial=serial, maker="Invented Works", manufactured_on=made_on, **facts)
    )
    told(site, "component.registered", row, site.founded_at)
    _papers(site, row, paper)
    return row


def _papers(site: Site, component: Component, paper: Paper) -> None:
    """Give a component its certificate, and a preventer its elastomer."""
    site.shelf.put(
        Document(
            component=component,
            kind="conformity",
            title="Certificate of conformity",
            number=f"COC-{component.serial}",
            issued_on=component.manufactured_on,
            file_name="invented.txt",
            sha256=paper.sha256,
            size=paper.size,
            added_at=site.founded_at,
            added_by=WRITER,
        )
    )
    if component.kind in WITH_ELASTOMER:
        fitted_on = (site.until - timedelta(days=site.chance.randrange(30, 330))).date()
        expires_on = fitted_on + timedelta(days=2 * DAYS_A_YEAR)
        seal = "Packing element" if component.kind == "annular" else "Ram block seals"
        site.shelf.put(Elastomer(component=component, part=seal, installed_on=fitted_on, expires_on=expires_on))


def _wells(site: Site) -> None:
    """One well after the other, each with its sections; where permits allow it, the pressure follows their MASP."""
    spud, number = site.founded_at, 0
    while spud < site.until:
        number += 1
        well = site.shelf.put(Well(rig=site.rig, name=f"Well {site.number}-{number}", spudded_on=_day(site, spud)))
        for order, (name, after_days, masp) in enumerate(SECTIONS, start=1):
            begins_at = spud + timedelta(days=after_days, hours=site.chance.randrange(20))
            if begins_at > site.until:
                break
            site.sections.append(_section(site, well, order, name, begins_at, masp))
        spud += timedelta(days=site.chance.randint(*WELL_DAYS))


def _section(site: Site, well: Well, order: int, name: str, begins_at: datetime, masp: int) -> HoleSection:
    approval = f"INVENTED-{well.name}" if site.design.follows_masp else ""
    return site.shelf.put(
        HoleSection(
            well=well,
            order=order,
            name=name,
            begins_at=begins_at,
            **quantities(masp=measured(f"{masp:,} psi"), wellhead_rated_working_pressure=measured("15,000 psi")),
            masp_basis="entered",
            masp_reason="Invented.",
            masp_margin_approval=approval,
        )
    )


def _day(site: Site, moment: datetime) -> Any:
    return moment.astimezone(site.rig.zone).date()


def _instruments(site: Site) -> None:
    for kind, letters, highest in INSTRUMENTS:
        calibrated = site.until - timedelta(days=site.chance.randrange(20, 380))
        row = Instrument(
            rig=site.rig,
            kind=kind,
            serial=f"{letters}-{site.number:03d}",
            maker="Invented Works",
            **quantities(range_low=measured("0 psi"), range_high=measured(highest)),
            calibrated_on=_day(site, calibrated),
            calibration_due_on=_day(site, calibrated + timedelta(days=DAYS_A_YEAR)),
            certificate_number=f"CAL-{letters}-{site.number:03d}",
        )
        site.instruments.append(site.shelf.put(row))


def _bank(site: Site, component: Component) -> None:
    bank = site.shelf.put(
        Bank(
            component=component,
            purpose="main",
            **quantities(
                design_precharge=measured("1,000 psi"),
                reference_temperature=measured("70 degF", Dimension.TEMPERATURE),
                charged_pressure=measured("3,000 psi"),
                minimum_operating_pressure=measured("1,200 psi"),
                precharge_tolerance=measured("100 psi"),
            ),
            tolerance_source="Invented for measuring.",
        )
    )
    site.banks.append(bank)
    told(site, "bank.registered", bank, site.founded_at)
    tested = site.until - timedelta(days=site.chance.randrange(300, 1_600))
    site.bottles[bank.pk] = [
        site.shelf.put(
            Bottle(
                bank=bank,
                position_number=number,
                serial=f"BT-{site.number:03d}-{number:02d}",
                **quantities(
                    shell_volume=measured("11 gal", Dimension.VOLUME), gas_volume=measured("10 gal", Dimension.VOLUME)
                ),
                shell_tested_on=_day(site, tested),
                shell_test_due_on=_day(site, tested + timedelta(days=5 * DAYS_A_YEAR)),
                state_since=_day(site, site.founded_at),
            )
        )
        for number in range(1, site.chance.randint(*BOTTLES) + 1)
    ]
