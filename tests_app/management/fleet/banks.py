"""The precharge rounds over the accumulator banks of an invented rig."""

from datetime import datetime, timedelta
from typing import Final

from calcs.units import Dimension
from equipment.models import Bank, CrewRole, PrechargeCheck, PrechargeReading
from equipment.queries.copies import as_used
from tests_app.management.fleet.founding import WRITER, told
from tests_app.management.fleet.site import Site, measured, quantities

EVERY_DAYS: Final = (45, 80)
LOW_SHARE: Final = 0.004
"""Share of readings under the tolerance."""


def write_precharges(site: Site) -> None:
    """Write a round over each bank every other month, the first a day after the rig was founded."""
    for bank in site.banks:
        at = site.founded_at + timedelta(hours=20)
        while at < site.until:
            _round(site, bank, at)
            at += timedelta(days=site.chance.randint(*EVERY_DAYS), hours=site.chance.randrange(20))
            site.shelf.write_when_full()


def _round(site: Site, bank: Bank, at: datetime) -> None:
    gauge = site.instruments[0]
    by = site.crew[CrewRole.TESTER].display_name
    check = PrechargeCheck(
        bank=bank,
        instrument=gauge,
        instrument_as_used=as_used(gauge),
        taken_at=at,
        taken_by=by,
        fluid_bled_off=True,
        recorded_at=at,
        recorded_by=WRITER,
    )
    site.shelf.put(check)
    told(site, "precharge.recorded", check, check.taken_at)
    for bottle in site.bottles[bank.pk]:
        psi = 870 if site.chance.random() < LOW_SHARE else 985 + site.chance.randrange(30)
        site.shelf.put(
            PrechargeReading(
                check_round=check,
                bottle=bottle,
                **quantities(
                    pressure=measured(f"{psi} psi"), gas_temperature=measured("70 degF", Dimension.TEMPERATURE)
                ),
                recorded_at=at,
                recorded_by=WRITER,
            )
        )
