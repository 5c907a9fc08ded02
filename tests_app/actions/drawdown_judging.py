"""Parts of the actions that change a drawdown or pump test: judging it anew from its rows.

Call these inside an action, on a record held by `drafts.hold_draft`. Nothing is taken over from the page.
"""

from collections.abc import Iterable, Sequence
from typing import Any, Final

from calcs.bank_rules import pump_setting_rules, recharge_rule, recharge_rules
from calcs.drawdown_verdict import RechargeVerdict, judge_pump, judge_recharge
from calcs.errors import InputError
from calcs.rules import Edition
from calcs.units import GaugePressure
from tests_app.models import Outcome, PumpReading, PumpsRunning, Recharge, Record, RecordKind
from tests_app.queries import drawdown_verdicts
from tests_app.queries.banks_tested import BankTested, read_copy
from tests_app.queries.drawdowns import comparison_of, edition_of_record, stack_of, system_of

PARTLY: Final = "This charging does not show the time from precharge to rated pressure; a pump test does."


def judge_drawdown_record(record: Record) -> None:
    """Judge a drawdown by its rule and its chargings by theirs; passed when every part passes.

    It stays pending while no verdict can be asked for: no start pressure, no function.
    """
    comparison = comparison_of(record)
    charged = _judge_recharges(record, comparison.precharge_measured or comparison.precharge_design, comparison.bank)
    test = record.drawdown_test
    test.verdict = drawdown_verdicts.of_drawdown(comparison, system_of(record.rig))
    late = [one for one in charged if one.outcome == Outcome.FAILED]
    test.verdict["recharge_reasons"] = _reasons_of(late)
    if comparison.verdict is None:
        test.outcome = Outcome.PENDING
    else:
        test.outcome = Outcome.PASSED if comparison.verdict.passes and not late else Outcome.FAILED
    test.save()


def judge_pump_record(record: Record) -> None:
    """Judge a pump test: each charging and each pump by the rules; passed when every part asked for passes."""
    test = record.pump_test
    edition = edition_of_record(record)
    bank = read_copy(test.bank_as_tested)
    charged = _judge_recharges(record, bank.on_gauge(bank.design), bank)
    pumps = list(record.pump_readings.order_by("pk"))
    for pump in pumps:
        _judge_pump(pump, record, edition, bank)
    reasons = [
        *_not_timed(record, charged, edition),
        *_reasons_of(one for one in charged if one.outcome != Outcome.PASSED),
        *(f"{one.pump}: {reason}" for one in pumps for reason in drawdown_verdicts.reasons_of(one.limits)),
    ]
    judged = [*charged, *(one for one in pumps if one.limits)]
    test.verdict = {"passes": not reasons and bool(judged), "reasons": reasons, "notes": _unruled(pumps)}
    test.outcome = _outcome(bool(test.verdict["passes"])) if judged else Outcome.PENDING
    test.save()


def _judge_recharges(record: Record, precharge: float | None, bank: BankTested) -> list[Recharge]:
    edition, stack = edition_of_record(record), stack_of(record)
    whole = record.kind == RecordKind.PUMP
    found = list(record.recharges.order_by("order"))
    for one in found:
        rule = recharge_rule(edition, stack=stack, pumps=one.pumps)
        try:
            verdict = judge_recharge(
                rule,
                GaugePressure(one.from_pressure.si),
                GaugePressure(one.to_pressure.si),
                one.seconds,
                GaugePressure(precharge or bank.design),
                bank.charged,
            )
        except InputError as error:
            verdict = RechargeVerdict(False, None, False, (f"{error.reason} {error.remedy}",), (), "", None, None)
        one.limits = {} if rule is None else {"rule_id": rule.id, "within_s": rule.within, "clause": rule.clause}
        _give(one, verdict, whole=whole)
        one.save()
    return found


def _give(recharge: Recharge, verdict: RechargeVerdict, *, whole: bool) -> None:
    """Give a charging its outcome: whole, it covers all the rule asks; beside a drawdown only its time counts."""
    passes = verdict.passes if whole else verdict.in_time is True
    recharge.verdict = drawdown_verdicts.of_recharge(verdict, passes=passes, judges_coverage=whole)
    if not whole and not verdict.covers:
        # The time stands first among the reasons; the others are about how much of the way was covered.
        first = 0 if verdict.in_time else 1
        late, short = verdict.reasons[:first], verdict.reasons[first:]
        recharge.verdict |= {"reasons": list(late), "notes": [*short, PARTLY, *verdict.notes]}
    if not whole and verdict.in_time is None:
        recharge.outcome = Outcome.PENDING
    else:
        recharge.outcome = _outcome(passes)


def _judge_pump(pump: PumpReading, record: Record, edition: Edition, bank: BankTested) -> None:
    rules = pump_setting_rules(edition, stack=stack_of(record), duty=pump.duty, drive=pump.drive)
    air = pump.air_supply
    pump.limits = [
        drawdown_verdicts.of_pump(
            rule,
            judge_pump(
                rule,
                _gauge(pump.starts_at),
                _gauge(pump.stops_at),
                bank.charged,
                air_supply=None if air is None else GaugePressure(air.si),
            ),
            system_of(record.rig),
        )
        for rule in rules
    ]
    judged = bool(pump.limits)
    pump.outcome = _outcome(all(one["passes"] for one in pump.limits)) if judged else Outcome.PENDING
    pump.save()


def _gauge(measured: Any) -> GaugePressure | None:
    return None if measured is None else GaugePressure(float(measured.si))


def _outcome(passes: bool) -> Outcome:
    return Outcome.PASSED if passes else Outcome.FAILED


def _not_timed(record: Record, charged: Sequence[Recharge], edition: Edition) -> list[str]:
    """Name the chargings the rules ask for that were not timed: what was not measured was not shown."""
    timed = {one.pumps for one in charged}
    asked = [rule for rule in recharge_rules(edition, stack=stack_of(record)) if rule.pumps not in timed]
    return [f"{PumpsRunning(rule.pumps).label}: no charging was timed ({rule.clause})." for rule in asked]


def _reasons_of(charged: Iterable[Recharge]) -> list[str]:
    return [f"{one}: {reason}" for one in charged for reason in (one.verdict or {}).get("reasons", ())]


def _unruled(pumps: Sequence[PumpReading]) -> list[str]:
    return [f"{one.pump}: the rules followed say nothing of its settings." for one in pumps if not one.limits]
