"""The precharge of bottles: events call for reading it, an interval only where the edition has one."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, time
from typing import Final

from calcs.bank_rules import PrechargeRule
from calcs.moments import localise, moment_words
from calcs.recurrence import Tested
from calcs.rules import Edition, Occasion
from calcs.stated import Stated
from equipment.models import Bank, Bottle, PrechargeReading
from equipment.queries.banks import judged
from tests_app.queries.deriving.bottles import Bottles, named
from tests_app.queries.deriving.derived import Derived, Requirement
from tests_app.queries.deriving.facts import RigFacts

OWNERS_SCHEDULE: Final = "The standard leaves the interval to the owner's schedule."
_ROUNDING: Final = 1.0
"""Pa by which a sum's rounding may carry a reading over the edge of its band; no gauge tells it."""

Readings = Sequence[PrechargeReading | None]


def precharge_owed(plain: Derived, rule: PrechargeRule, bottles: Bottles, facts: RigFacts) -> Derived | None:
    """Return the row of a bank's precharge; None without bottles in service."""
    bank = plain.subject.bank
    assert bank is not None
    assert isinstance(facts.edition, Edition)
    serving = bottles.serving(bank)
    if not serving:
        return None
    readings = [bottles.readings.get(bottle.pk) for bottle in serving]
    read_at = [reading.check_round.taken_at for reading in readings if reading is not None]
    oldest = min(read_at) if len(read_at) == len(serving) else None
    missing = _not_read(plain, rule, serving, readings, bottles, facts)
    recurs = rule.recurs if missing is None else None
    return replace(
        plain,
        requirement=_asked(rule, facts.edition),
        last_done_at=oldest,
        history=(Tested(oldest, oldest, passed=True),) if recurs and oldest else (),
        stated=missing or (None if recurs and oldest else _settled(oldest, facts)),
        out_of_tolerance=_out_of_tolerance(bank, rule, serving, readings),
    )


def _asked(rule: PrechargeRule, edition: Edition) -> Requirement:
    if rule.recurs is not None:
        return Requirement.recurring(rule.recurs, edition, rule_id=rule.id, title=rule.title)
    source = rule.events[0].source if rule.events else None
    confidence = (source.confidence if source else rule.confidence).value
    clause = source.clause if source else rule.clause
    return Requirement(None, None, rule.id, clause, edition.id, confidence, rule.title)


def _not_read(
    plain: Derived,
    rule: PrechargeRule,
    serving: Sequence[Bottle],
    readings: Readings,
    bottles: Bottles,
    facts: RigFacts,
) -> Stated | None:
    """Return that bottles have to be read, since when and why; None where every one was."""
    since, words = _called_at(plain, rule, bottles, facts)
    missing = [
        bottle
        for bottle, reading in zip(serving, readings, strict=True)
        if reading is None or (since is not None and reading.check_round.taken_at < since)
    ]
    if not missing:
        return None
    assert plain.subject.installation is not None
    whole = len(missing) == len(serving)
    who = "The bottles were" if whole else f"{named(missing)} {'were' if len(missing) > 1 else 'was'}"
    reason = f"{who} not read {words}: read the precharge of every bottle in service."
    return Stated(reason, since=since or plain.subject.installation.installed_at, is_open=True)


def _called_at(plain: Derived, rule: PrechargeRule, bottles: Bottles, facts: RigFacts) -> tuple[datetime | None, str]:
    """Return since when every bottle has to have been read, and what calls for that, in words.

    Installed: on the day it was installed or on the present well, whichever came later. Before deployment: since the
    bank left where it stood before; None where it stood nowhere yet, and any reading counts.
    """
    installation = plain.subject.installation
    assert installation is not None
    if Occasion.INSTALLED in {event.occasion for event in rule.events}:
        day = installation.installed_at.astimezone(facts.zone).date()
        installed = localise(datetime.combine(day, time()), facts.zone)
        if bottles.spudded is not None and bottles.spudded > installed:
            return bottles.spudded, "since the present well was spudded"
        return installed, "since the bank was installed"
    return bottles.left.get(installation.component_id), "before the bank was deployed"


def _settled(oldest: datetime | None, facts: RigFacts) -> Stated:
    assert oldest is not None  # every bottle was read
    words = f"Every bottle in service was read {moment_words(oldest, facts.zone)} or later. {OWNERS_SCHEDULE}"
    return Stated(words, since=oldest)


def _out_of_tolerance(bank: Bank, rule: PrechargeRule, serving: Sequence[Bottle], readings: Readings) -> str:
    """Return the bottles whose latest precharge is off its design by more than the tolerance, in words."""
    width = bank.precharge_tolerance.si if bank.precharge_tolerance is not None else rule.tolerance
    off: dict[str, list[Bottle]] = {"low": [], "high": []}
    for bottle, reading in zip(serving, readings, strict=True):
        deviation = judged(bank, reading).real.deviation if reading is not None else None
        if deviation is not None and abs(deviation) > width + _ROUNDING:
            off["low" if deviation < 0 else "high"].append(bottle)
    return ", ".join(f"{named(bottles).lower()} {way}" for way, bottles in off.items() if bottles)
