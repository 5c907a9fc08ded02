"""Accumulator banks of the demo: their bottles, and the history of their precharge."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from functools import partial
from typing import Any, Final

from calcs.units import Dimension, from_si, read
from equipment.actions.banks import (
    Read,
    add_bottle,
    change_bottle_state,
    correct_precharge_reading,
    record_precharge_check,
    register_bank,
)
from equipment.models import Bank
from tests_app.management.demo.site import Happening, Site
from trail.actors import System

BY: Final = System.DEMO
_FACTS: Final = (
    "purpose",
    "location",
    "depth",
    "control_fluid_gradient",
    "seawater_gradient",
    "design_precharge",
    "reference_temperature",
    "precharge_basis",
    "charged_pressure",
    "minimum_operating_pressure",
    "precharge_tolerance",
    "tolerance_source",
)


def register_banks(site: Site, banks: Any, at: datetime) -> Iterator[Happening]:
    """Put every bank on file with its bottles; returns what happened to them later."""
    for given in banks:
        component = site.components[given["component"]]
        facts = {name: given[name] for name in _FACTS if name in given}
        bank = register_bank(component, **facts, by=BY, at=at)
        _add_bottles(site, bank, given, at)
        yield from _later(site, bank, given)


def _add_bottles(site: Site, bank: Bank, given: Mapping[str, Any], at: datetime) -> None:
    tested = given.get("tested_otherwise", {})
    for position in range(1, given["bottles"] + 1):
        days_ago = tested.get(str(position), given["tested_days_ago"])
        add_bottle(
            bank,
            position_number=position,
            serial=f"{given['serials']}-{position:02}",
            shell_volume=given["shell_volume"],
            gas_volume=given["gas_volume"],
            shell_tested_on=site.day(days_ago),
            shell_test_due_on=site.day(days_ago - given["tested_every_days"]),
            in_service_on=site.day(days_ago),
            by=BY,
            at=at,
        )


def _later(site: Site, bank: Bank, given: Mapping[str, Any]) -> Iterator[Happening]:
    for told in given.get("rounds", ()):
        moment = site.moment(told["days_ago"], told["hour"])
        yield moment, partial(_read_all, site, bank, told, moment)
    for told in given.get("corrections", ()):
        moment = site.moment(told["days_ago"], told["hour"])
        yield moment, partial(_correct, bank, told, moment)
    for told in given.get("states", ()):
        moment = site.moment(told["days_ago"], told["hour"])
        yield moment, partial(_put_in_state, site, bank, told, moment)


def _read_all(site: Site, bank: Bank, told: Mapping[str, Any], moment: datetime) -> None:
    otherwise = told.get("otherwise", {})
    record_precharge_check(
        bank,
        readings=[
            Read(
                bottle,
                otherwise.get(str(bottle.position_number)) or _near(told, bottle.position_number),
                told["gas_temperature"],
            )
            for bottle in bank.bottles.all()
        ],
        instrument=next(one for one in site.instruments if one.serial == told["gauge"]),
        taken_at=moment,
        taken_by=told["taken_by"],
        fluid_bled_off=True,
        by=BY,
        at=moment,
    )


def _near(told: Mapping[str, Any], position: int) -> str:
    """Return what the gauge showed: near the usual figure, by steps that look like a rack of bottles."""
    usual = read(told["pressure"], Dimension.PRESSURE, field="pressure")
    step = read(told["step"], Dimension.PRESSURE, field="step").si(Dimension.PRESSURE)
    shown = usual.value + (position * 7 % 5 - 2) * from_si(step, usual.unit, Dimension.PRESSURE)
    return f"{shown:.0f} {usual.unit}"


def _correct(bank: Bank, told: Mapping[str, Any], moment: datetime) -> None:
    bottle = bank.bottles.get(position_number=told["position"])
    reading = bottle.precharge_readings.order_by("-check_round__taken_at", "-pk").first()
    assert reading is not None  # the round lies before its correction
    correct_precharge_reading(
        reading,
        pressure=told["pressure"],
        gas_temperature=reading.gas_temperature,
        reason=told["reason"],
        by=BY,
        at=moment,
    )


def _put_in_state(site: Site, bank: Bank, told: Mapping[str, Any], moment: datetime) -> None:
    change_bottle_state(
        bank.bottles.get(position_number=told["position"]),
        state=told["state"],
        state_since=site.day(told["days_ago"]),
        state_reason=told["reason"],
        by=BY,
        at=moment,
    )
