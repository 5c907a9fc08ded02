"""Builds the demo from its files through the actions people use, in the order things happened.

Nothing is written to the tables directly: what the demo shows could have been entered by hand. Days are
counted back from the load day on each rig's own calendar, so the demo is always nine months old.
"""

import tomllib
from collections.abc import Iterator, Mapping
from datetime import datetime
from decimal import Decimal
from functools import cache, partial
from pathlib import Path
from typing import Any, Final

from accounts.models import User
from equipment.actions.components import register_component
from equipment.actions.documents import attach_document
from equipment.actions.installations import install_component, remove_component
from equipment.actions.instruments import register_instrument
from equipment.actions.rigs import add_crew_member, register_rig
from equipment.actions.service import fit_elastomer, record_service
from equipment.actions.stacks import add_position, register_stack
from equipment.actions.wells import add_section, register_well
from equipment.models import Component, Installation, Rig
from tests_app.actions.programmes import choose_edition
from tests_app.management.demo.banks import register_banks
from tests_app.management.demo.campaigns import campaign_happenings
from tests_app.management.demo.defects import defect_happenings
from tests_app.management.demo.drawdowns import drawdown_happenings
from tests_app.management.demo.functions import function_happenings, register_controls
from tests_app.management.demo.pressure_systems import draw_up_system
from tests_app.management.demo.site import Happening, Signer, Site
from tests_app.management.demo.work import calibrate, work_happenings
from trail.actors import System

QUANTITIES: Final = (
    "nominal_bore",
    "rated_working_pressure",
    "closing_volume",
    "opening_volume",
    "rated_operating_pressure",
    "closes_on_smallest",
    "closes_on_largest",
)
TEXTS: Final = ("maker", "model", "temperature_class")
DAYS_A_YEAR: Final = 365
CALIBRATED_EVERY_DAYS: Final = 365
ELASTOMER_LIFE_DAYS: Final = 730
FOUNDED_DAYS_AGO: Final = 280
BY: Final = System.DEMO


def read(path: Path) -> dict[str, Any]:
    """Return the content of a file of the demo."""
    with path.open("rb") as file:
        return tomllib.load(file)


def people_of(logins: Mapping[str, Any]) -> dict[str, User]:
    """Make the demo's accounts; returns them by user name."""
    people = {}
    for login in logins["login"]:
        superuser = login.get("superuser", False)
        person = User(username=login["user"], display_name=login["name"], is_staff=superuser, is_superuser=superuser)
        # A domain nobody can own (RFC 2606): a demo that is pointed at a real mail server reaches no stranger.
        person.email = f"{person.username}@rig.example"
        person.set_password(login["password"])
        person.save()
        people[person.username] = person
    return people


def build(scenario: Mapping[str, Any], logins: Mapping[str, Any], people: Mapping[str, User], *, at: datetime) -> Rig:
    """Build one rig with its crew, its stack and its nine months of history; returns the rig."""
    site = _found(scenario["rig"], at)
    _man(site, logins, people)
    _register(site, scenario)
    register_controls(site, scenario.get("controls", ()), site.moment(FOUNDED_DAYS_AGO))
    happenings: list[Happening] = [
        *register_banks(site, scenario.get("banks", ()), site.moment(FOUNDED_DAYS_AGO)),
        *_recalibrations(site, scenario["instruments"], people["supervisor"]),
        *campaign_happenings(site, scenario, people["supervisor"]),
        *drawdown_happenings(site, scenario, people["supervisor"]),
        *function_happenings(site, scenario, people["supervisor"]),
        *defect_happenings(site, scenario, people["supervisor"]),
        *work_happenings(site, scenario, people["supervisor"], site.moment(FOUNDED_DAYS_AGO)),
        *_services(site, scenario.get("service", ())),
        *_swaps(site, scenario.get("swaps", ())),
    ]
    for _, happens in sorted(happenings, key=lambda happening: happening[0]):
        happens()
    return site.rig


def _patient(person: User) -> User:
    """Have a person's password checked once and the answer kept: a check is slow on purpose, and they sign often."""
    person.check_password = cache(person.check_password)  # type: ignore[method-assign]
    return person


def _found(facts: Mapping[str, Any], at: datetime) -> Site:
    rig = register_rig(
        name=facts["name"],
        kind=facts["kind"],
        time_zone=facts["time_zone"],
        display_units=facts["display_units"],
        by=BY,
        at=at,
    )
    site = Site(rig, at.astimezone(rig.zone).date())
    choose_edition(rig, edition=facts["edition"], by=BY, at=site.moment(FOUNDED_DAYS_AGO))
    return site


def _man(site: Site, logins: Mapping[str, Any], people: Mapping[str, User]) -> None:
    for login in logins["login"]:
        role = login["rigs"].get(site.rig.name)
        if role:
            person = people[login["user"]]
            add_crew_member(site.rig, person=person, role=role, by=BY, at=site.moment(FOUNDED_DAYS_AGO))
            site.signers.append(Signer(_patient(person), login["password"]))


def _register(site: Site, scenario: Mapping[str, Any]) -> None:
    at = site.moment(FOUNDED_DAYS_AGO)
    _register_well(site, scenario, at)
    facts = scenario["stack"]
    site.stack = register_stack(site.rig, name=facts["name"], kind=facts["kind"], by=BY, at=at)
    for place in scenario["positions"]:
        _register_position(site, place, facts["installed_days_ago"], at)
    draw_up_system(site, scenario["pressure_system"], at)
    for spare in scenario.get("spares", ()):
        _register_component(site, spare, at)
    for instrument in scenario["instruments"]:
        _register_instrument(site, instrument, at)


def _register_well(site: Site, scenario: Mapping[str, Any], at: datetime) -> None:
    facts = dict(scenario["well"])
    spudded_days_ago = facts.pop("spudded_days_ago")
    # Put on file once it is spudded: a day to come is refused.
    spudded_on, known_at = site.day(spudded_days_ago), max(at, site.moment(spudded_days_ago))
    well = register_well(site.rig, **facts, spudded_on=spudded_on, by=BY, at=known_at)
    for section in scenario["sections"]:
        given = dict(section)
        begins_at = site.moment(given.pop("begins_days_ago"))
        site.sections.append(add_section(well, **given, begins_at=begins_at, by=BY, at=at))


def _register_position(site: Site, place: Mapping[str, Any], installed_days_ago: int, at: datetime) -> None:
    assert site.stack is not None  # set before its positions are
    position = add_position(
        site.stack,
        name=place["name"],
        kind=place["kind"],
        group=place["group"],
        outlet_of=site.positions.get(place.get("outlet_of", "")),
        by=BY,
        at=at,
    )
    site.positions[position.name] = position
    component = _register_component(site, {**place["component"], "kind": place["kind"]}, at)
    installed_at = site.moment(installed_days_ago)
    install_component(component, position, installed_at=installed_at, by=BY, at=installed_at)


def _register_component(site: Site, given: Mapping[str, Any], at: datetime) -> Component:
    facts: dict[str, Any] = {name: given[name] for name in (*QUANTITIES, *TEXTS) if given.get(name)}
    for ratio in ("closing_ratio", "opening_ratio"):
        if ratio in given:
            facts[ratio] = Decimal(given[ratio])
    if "inspected_days_ago" in given:
        facts["last_major_inspection_on"] = site.day(given["inspected_days_ago"])
    component = register_component(
        site.rig,
        kind=given["kind"],
        serial=given["serial"],
        closes_on_open_hole=given.get("closes_on_open_hole", False),
        manufactured_on=site.day(given["manufactured_years_ago"] * DAYS_A_YEAR),
        by=BY,
        at=at,
        **facts,
    )
    site.components[component.serial] = component
    _equip(site, component, given, at)
    return component


def _equip(site: Site, component: Component, given: Mapping[str, Any], at: datetime) -> None:
    """Give the component its paper and its elastomer."""
    made_on = component.manufactured_on
    attach_document(
        component,
        kind="conformity",
        title="Certificate of conformity",
        number=f"COC-{component.serial}",
        content=f"Invented for the demo: certificate of conformity of {component}.\n".encode(),
        file_name=f"conformity-{component.serial}.txt",
        issued_on=made_on,
        by=BY,
        at=at,
    )
    if "elastomer" in given:
        fitted_on = site.day(FOUNDED_DAYS_AGO + len(component.serial))
        fit_elastomer(
            component,
            part=given["elastomer"],
            compound="Nitrile",
            batch=f"B-{component.serial[-4:]}",
            installed_on=fitted_on,
            expires_on=site.day(FOUNDED_DAYS_AGO - ELASTOMER_LIFE_DAYS),
            by=BY,
            at=at,
        )


def _register_instrument(site: Site, given: Mapping[str, Any], at: datetime) -> None:
    """Register an instrument with the calibration before its present one; `_recalibrations` brings that."""
    calibrated = given["calibrated_days_ago"]
    site.instruments.append(
        register_instrument(
            site.rig,
            kind=given["kind"],
            serial=given["serial"],
            maker=given["maker"],
            model=given["model"],
            range_low=given["range_low"],
            range_high=given["range_high"],
            accuracy_percent=Decimal(given["accuracy_percent"]),
            calibrated_on=site.day(calibrated + CALIBRATED_EVERY_DAYS),
            calibration_due_on=site.day(calibrated),
            certificate_number=f"CAL-{given['serial']}-1",
            by=BY,
            at=at,
        )
    )


def _recalibrations(site: Site, instruments: list[dict[str, Any]], by: User) -> Iterator[Happening]:
    for instrument, given in zip(site.instruments, instruments, strict=True):
        moment = max(site.moment(given["calibrated_days_ago"]), site.moment(FOUNDED_DAYS_AGO))
        yield moment, partial(calibrate, site, instrument, given, by, moment)


def _services(site: Site, services: Any) -> Iterator[Happening]:
    for given in services:
        moment = site.moment(given["days_ago"], given["hour"])
        yield moment, partial(_serve, site, given, moment)


def _serve(site: Site, given: Mapping[str, Any], moment: datetime) -> None:
    record_service(
        _standing(site, given["position"]).component,
        kind=given["kind"],
        finished_at=moment,
        description=given["description"],
        by=BY,
        at=moment,
    )


def _swaps(site: Site, swaps: Any) -> Iterator[Happening]:
    for given in swaps:
        moment = site.moment(given["days_ago"], given["hour"])
        yield moment, partial(_change_over, site, given, moment)


def _change_over(site: Site, given: Mapping[str, Any], moment: datetime) -> None:
    standing = _standing(site, given["position"])
    remove_component(standing, removed_at=moment, reason=given["reason"], by=BY, at=moment)
    spare = site.components[given["spare"]]
    install_component(spare, site.positions[given["position"]], installed_at=moment, by=BY, at=moment)


def _standing(site: Site, position: str) -> Installation:
    return site.positions[position].installations.get(removed_at__isnull=True)
