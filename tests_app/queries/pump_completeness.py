"""What a draft of a pump test still lacks before it can be signed."""

from collections.abc import Iterator
from typing import Final

from calcs.bank_rules import recharge_rules
from calcs.units import Dimension
from calcs.working import Amount
from tests_app.models import PumpReading, PumpsRunning, Record
from tests_app.queries import bank_points
from tests_app.queries.banks_tested import read_copy
from tests_app.queries.completeness import OpenPoint
from tests_app.queries.drawdowns import edition_of_record, stack_of, system_of

NOT_TIMED: Final = "not timed"
"""Words by which the remarks own up to a charging that was left out."""


def pump_points(record: Record) -> list[OpenPoint]:
    """Return what keeps a pump test from being signed, then what is worth a look. A constant number of queries."""
    test = record.pump_test
    pumps = list(record.pump_readings.order_by("pk"))
    points = [
        *bank_points.conclusion(record),
        *bank_points.instruments(record),
        *bank_points.bank_moved_on(record, test.bank, None, test.bank_as_tested),
        *_chargings(record, pumps),
        *_pumps(pumps),
    ]
    return sorted(points, key=lambda point: not point.blocks)


def _chargings(record: Record, pumps: list[PumpReading]) -> Iterator[OpenPoint]:
    timed = set(record.recharges.values_list("pumps", flat=True))
    if not timed and not pumps:
        yield OpenPoint(
            "recharges", "Nothing was tested yet.", "Enter a timed charging, or where a pump starts and stops."
        )
    bank = read_copy(record.pump_test.bank_as_tested)
    system = system_of(record.rig)
    begin, end = (Amount(one, Dimension.PRESSURE).text(system) for one in (bank.on_gauge(bank.design), bank.charged))
    for rule in recharge_rules(edition_of_record(record), stack=stack_of(record)):
        if rule.pumps not in timed:
            yield OpenPoint(
                "recharges",
                f"{PumpsRunning(rule.pumps).label}: no charging is timed, and the rules ask for one.",
                f"Time it from {begin} to {end}; or say in the remarks, with the words “{NOT_TIMED}”, why there is "
                "none: the test then does not pass.",
                blocks=NOT_TIMED not in record.remarks.casefold(),
            )


def _pumps(pumps: list[PumpReading]) -> Iterator[OpenPoint]:
    if not pumps:
        yield OpenPoint(
            "pumps", "No pump is entered.", "Enter where each pump started and stopped by itself.", blocks=False
        )
    for one in pumps:
        asked = [name for name, limit in _ASKED.items() if any(each.get(limit) for each in one.limits)]
        missing = [name for name in asked if getattr(one, name) is None]
        if missing:
            yield OpenPoint(
                f"pump-{one.pk}",
                f"{one.pump}: {' and '.join(_WORDS[name] for name in missing)} was not read, and the rules ask for it.",
                "Enter it; or say in its remarks why it was not read: the test then does not pass.",
                blocks=not one.remarks.strip(),
            )


_ASKED: Final = {"starts_at": "starts_at_least", "stops_at": "stops_from", "air_supply": "air_supply"}
_WORDS: Final = {
    "starts_at": "where it starts",
    "stops_at": "where it stops",
    "air_supply": "the pressure of its air",
}
