"""What is owed on the accumulator banks of a rig: drawdown, pump test, precharge of the bottles, their shell tests.

Drawdown and pump test are those of the main accumulators, by the edition's rules; every bank's bottles are read and
their shells tested.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final, cast

from calcs import recurrence
from calcs.bank_rules import DrawdownRule, RechargeRule, drawdown_rule, precharge_rule, recharge_rules
from calcs.errors import InputError
from calcs.recurrence import Event, EventKind, Happened, Tested
from calcs.rules import BankRule, Edition, Occasion, StackKind
from calcs.stated import PAPER_SOON, Stated, end_of
from equipment.models import Bank, BankPurpose, Bottle, ComponentKind, Installation
from tests_app.errors import NoRules
from tests_app.models import DrawdownTest, Outcome, PumpTest, What
from tests_app.queries.deriving.bottles import Bottles, named
from tests_app.queries.deriving.derived import Derived, Requirement
from tests_app.queries.deriving.facts import RigFacts
from tests_app.queries.deriving.precharges import precharge_owed
from tests_app.queries.deriving.pressure import place_of
from tests_app.queries.deriving.proofs import Proved, standing_of
from tests_app.queries.servicing import as_event

_NAMED: Final = {What.DRAWDOWN: "drawdown", What.PUMP: "pump test"}
_ON: Final = {
    Occasion.INSTALLED: "on installation",
    Occasion.LANDED: "on latch-up",
    Occasion.STUMP: "before deployment",
}


def bank_tests(facts: RigFacts) -> Iterator[Derived]:
    """Yield what is owed on the banks that stand on the rig; without rules, that it can't be worked out."""
    keys = [one.component_id for one in facts.chosen if one.component.kind == ComponentKind.ACCUMULATOR_BANK]
    if not keys:
        return
    banks = {bank.component_id: bank for bank in Bank.objects.filter(component__in=keys)}
    tests = _tests(banks.values(), facts)
    bottles = Bottles.of(banks.values(), facts)
    for one in facts.chosen:
        if one.component_id in banks:
            bank = banks[one.component_id]
            bank.component = one.component
            yield from _owed(_Banked(one, bank, facts, tests, bottles))


@dataclass(frozen=True)
class _Banked:
    """A bank where it stands, with all that is known of it and of the rig's others."""

    installation: Installation
    bank: Bank
    facts: RigFacts
    tests: dict[tuple[What, int], list[Proved]]
    bottles: Bottles

    def plain(self, what: What) -> Derived:
        subject = replace(place_of(self.installation), key=f"bank-{self.bank.pk}", bank=self.bank)
        return Derived(what=what, subject=subject)

    @property
    def stack(self) -> StackKind:
        return cast(StackKind, self.installation.position.stack.kind)

    def proved(self, what: What) -> list[Proved]:
        return self.tests.get((what, self.bank.pk), [])


def _tests(banks: Iterable[Bank], facts: RigFacts) -> dict[tuple[What, int], list[Proved]]:
    """Return by bank its drawdowns and pump tests, the corrected ones left out. Two queries."""
    keys = [bank.pk for bank in banks]
    found: dict[tuple[What, int], list[Proved]] = defaultdict(list)
    for what, model in ((What.DRAWDOWN, DrawdownTest), (What.PUMP, PumpTest)):
        rows = model._default_manager.filter(bank__in=keys).values_list("bank_id", "record_id", "outcome")
        for bank, record, outcome in rows:
            proof = facts.proofs.records.get(record)
            if proof is not None and not facts.proofs.is_corrected(proof):
                found[what, bank].append(Proved(proof, outcome == Outcome.PASSED))
    return found


def _owed(banked: _Banked) -> Iterator[Derived]:
    tested = (What.DRAWDOWN, What.PUMP) if banked.bank.purpose == BankPurpose.MAIN else ()
    for what in tested:
        row = _tested(_with_records(banked.plain(what), banked), banked)
        if row is not None:
            yield row
    read = _read(banked.plain(What.PRECHARGE), banked)
    if read is not None:
        yield read
    shell = _shell(banked.plain(What.SHELL), banked)
    if shell is not None:
        yield shell


def _with_records(plain: Derived, banked: _Banked) -> Derived:
    standing = standing_of(banked.proved(plain.what), banked.facts.proofs, banked.facts.at)
    return replace(
        plain,
        last_record=standing.last_record,
        last_done_at=standing.last_done_at,
        failed_record=standing.failed_record,
        draft=standing.draft,
    )


# Drawdown and pump test


def _tested(plain: Derived, banked: _Banked) -> Derived | None:
    """Return the row, or why it can't be worked out; None where the edition has no rule for it."""
    facts = banked.facts
    if isinstance(facts.edition, NoRules):
        return replace(plain, error=str(facts.edition))
    try:
        return _by_the_rules(plain, banked, facts.edition)
    except InputError as error:
        return replace(plain, error=str(error))


def _by_the_rules(plain: Derived, banked: _Banked, edition: Edition) -> Derived | None:
    rules = _rules(plain.what, banked.stack, edition)
    recurring = [rule for rule in rules if rule.recurs is not None]
    if not recurring and not any(rule.events for rule in rules):
        return None  # no rule, or one that says how it is judged and calls for none
    if not recurring:
        raise InputError("interval", "The edition gives no interval for it: only events call for it.")
    rule = min(recurring, key=lambda one: one.recurs.interval.roughly_days if one.recurs else 0)
    recurs = rule.recurs
    assert recurs is not None
    return replace(
        plain,
        requirement=Requirement.recurring(recurs, edition, rule_id=rule.id, title=rule.title),
        history=(*_events(plain, banked), *banked.facts.deferred(plain.what, plain.subject.key)),
        first_owed=_first(plain.what, rules),
        stood_too_long_from=recurrence.deadline_after(
            banked.installation.installed_at, recurs.interval, recurs.deadline, banked.facts.zone
        ),
    )


def _rules(what: What, stack: StackKind, edition: Edition) -> Sequence[DrawdownRule | RechargeRule]:
    if what is What.PUMP:
        return recharge_rules(edition, stack=stack)
    found = drawdown_rule(edition, stack=stack)
    return () if found is None else (found,)


def _events(plain: Derived, banked: _Banked) -> Iterator[Event]:
    facts = banked.facts
    yield Happened(EventKind.INSTALLED, banked.installation.installed_at)
    for work in facts.work.get(banked.installation.component_id, ()):
        yield as_event(work)
    for proved in banked.proved(plain.what):
        proof = proved.proof
        if proof.sealed_at is not None:
            yield Tested(proof.started_at, proof.over_at, proved.passed)
        elif facts.proofs.is_being_tested(proof):
            yield Tested(proof.begun_at)


def _first(what: What, rules: Sequence[BankRule]) -> str:
    """Return which first test is owed, with its clause."""
    clauses: dict[str, str] = {}
    for rule in rules:
        for event in rule.events:
            if event.occasion in _ON:
                clauses.setdefault(_ON[event.occasion], event.source.clause)
    if not clauses:
        return f"The first {_NAMED[what]} owed is the one on the interval."
    on = " and ".join(clauses)
    return f"The first {_NAMED[what]} owed is the one {on} ({'; '.join(dict.fromkeys(clauses.values()))})."


# What is read of bottles, and what stands on their papers


def _read(plain: Derived, banked: _Banked) -> Derived | None:
    facts = banked.facts
    if isinstance(facts.edition, NoRules):
        return replace(plain, error=str(facts.edition))
    rule = precharge_rule(facts.edition, stack=banked.stack)
    if rule is None:
        return None
    return precharge_owed(plain, rule, banked.bottles, facts)


def _shell(plain: Derived, banked: _Banked) -> Derived | None:
    """Return the row of the bottle in service whose shell test runs out first; None without bottles."""
    serving = banked.bottles.serving(banked.bank)
    if not serving:
        return None
    unknown = [bottle for bottle in serving if bottle.shell_test_due_on is None]
    if unknown:
        missing = f"No day is on file by which the shell test of {named(unknown).lower()} is due."
        return replace(plain, error=missing)
    return replace(plain, requirement=Requirement(), stated=_first_to_run_out(serving, banked))


def _first_to_run_out(serving: Sequence[Bottle], banked: _Banked) -> Stated:
    first_on = min(bottle.shell_test_due_on for bottle in serving if bottle.shell_test_due_on)
    first = [bottle for bottle in serving if bottle.shell_test_due_on == first_on]
    who = "Every bottle in service" if len(first) == len(serving) else named(first)
    limit: datetime = end_of(first_on, banked.facts.zone)
    return Stated(f"{who}: the shell test on file", limit=limit, soon=PAPER_SOON)
