"""The sealed content of a function test, copied once from its rows. See `documents.function_content`."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from calcs.rules import Edition
from tests_app.documents import content as base
from tests_app.documents import function_content as shape
from tests_app.documents.bank_copies import alarms_of
from tests_app.documents.envelope import envelope_of, file_content, section_content
from tests_app.documents.step_copies import Local, as_entered
from tests_app.models import FunctionLine, FunctionTest, Outcome, Record
from tests_app.queries.drawdowns import edition_of_record
from tests_app.queries.functioned import failed_open
from tests_app.queries.records import recordings_of


def function_content(record: Record) -> shape.FunctionContent:
    """Return the content of a function test that is being sealed, from its rows. A constant number of queries."""
    local = Local.of(record.rig)
    test = record.function_test
    lines = list(record.function_lines.order_by("order"))
    return {
        **envelope_of(record, local),
        "form": "function-test/1",
        "passed": bool(test.outcome == Outcome.PASSED),
        "section": section_content(record.section),
        "heading": _heading(test),
        "lines": [_line(line, lines) for line in lines],
        "left_failed": [line.order for line in failed_open(lines) if isinstance(line, FunctionLine)],
        "rules": _rules(edition_of_record(record), lines, test),
        "alarms": alarms_of(record),
        "files": [file_content(one, (), local) for one in recordings_of(record)],
    }


def _heading(test: FunctionTest) -> shape.FunctionHeadingContent:
    return {
        "reason": {"key": test.reason, "text": test.get_reason_display()},
        "pipe_in_hole": as_entered(test.pipe_in_hole),
        "manifold_pressure": as_entered(test.manifold_pressure),
        "annular_pressure": as_entered(test.annular_pressure),
        "operator": test.operator,
        "statements": [{"words": one["words"], "clause": one["clause"], "by": one["by"]} for one in test.confirmed],
    }


def _line(line: FunctionLine, lines: Sequence[FunctionLine]) -> shape.WorkedLine:
    verdict: Mapping[str, Any] = line.verdict or _NOT_JUDGED
    counters = [as_entered(getattr(line, f"counter_{name}")) for name in ("before", "between", "after")]
    by_key = {one.pk: one for one in lines}
    again = by_key.get(line.retest_of_id or 0)
    return {
        "order": line.order,
        "subject": _subject(line.subject_as_tested),
        "worked": {"key": line.worked, "text": line.get_worked_display()},
        "station": line.controls_as_used.get("station", {}).get("name", ""),
        "pod": line.controls_as_used.get("pod", {}).get("name", ""),
        "closed_on": {"key": line.closed_on, "text": line.get_closed_on_display()} if line.closed_on else None,
        "pipe": as_entered(line.pipe),
        "closing_time": as_entered(line.closing_time),
        "opening_time": as_entered(line.opening_time),
        "closing_volume": as_entered(line.closing_volume),
        "opening_volume": as_entered(line.opening_volume),
        "counters": counters if any(counters) else [],
        "completed": line.completed,
        "leak_seen": line.leak_seen,
        "leak_description": line.leak_description,
        "times": [_movement(one) for one in verdict["times"]],
        "volumes": list(verdict["volumes"]),
        "turns": [{"words": one["words"], "clause": one["clause"]} for one in verdict["turns"]],
        "reasons": list(verdict["reasons"]),
        "notes": list(verdict["notes"]),
        "judged_by": verdict["judged_by"],
        "outcome": {"key": line.outcome, "text": line.get_outcome_display()},
        "retest_of": again.order if again else None,
        "proved_by_retest": _proved_by(line, lines),
        "remarks": line.remarks,
    }


_NOT_JUDGED: Mapping[str, Any] = {"times": (), "volumes": (), "turns": (), "reasons": (), "notes": (), "judged_by": ""}


def _subject(kept: Mapping[str, Any]) -> shape.WorkedSubject:
    return {
        "name": kept["name"],
        "kind": {"key": kept["kind"], "text": kept["kind_text"]},
        "serial": kept.get("serial", ""),
        "maker": kept.get("maker", ""),
        "model": kept.get("model", ""),
        "nominal_bore": kept.get("nominal_bore"),
        "closing_volume": kept.get("closing_volume"),
        "opening_volume": kept.get("opening_volume"),
    }


def _movement(kept: Mapping[str, Any]) -> shape.MovementContent:
    return {
        "movement": kept["movement"],
        "seconds": kept["seconds"],
        "limit_s": kept["limit"],
        "margin_s": kept["margin"],
        "passes": kept["passes"],
        "clause": kept["clause"],
        "confidence": kept["confidence"],
        "words": kept["words"],
        "trend": kept["trend"],
    }


def _proved_by(line: FunctionLine, lines: Sequence[FunctionLine]) -> int | None:
    """Return the order of the line that worked a failed one again, or that again, and passed."""
    if line.outcome != Outcome.FAILED:
        return None
    again = next((one for one in lines if one.retest_of_id == line.pk), None)
    if again is None:
        return None
    return again.order if again.outcome == Outcome.PASSED else _proved_by(again, lines)


def _rules(edition: Edition, lines: Iterable[FunctionLine], test: FunctionTest) -> list[base.RuleContent]:
    """Return the rules behind limits, turns and statements, each once, in the order of their clauses."""
    wanted: set[str] = set()
    clauses = {one["clause"] for one in test.confirmed}
    for line in lines:
        verdict = line.verdict or _NOT_JUDGED
        wanted |= {rule for one in verdict["times"] for rule in one["rule_id"].split(", ") if rule}
        wanted |= {rule for one in verdict["turns"] for rule in one["rule_ids"]}
        clauses |= {one["clause"] for one in verdict["times"] if one["clause"] and not one["rule_id"]}
    known = (*edition.bank_rules, *edition.schedule_rules)
    found: Any = [
        {
            "clause": rule.clause,
            "text": " ".join(filter(None, (f"{rule.title.removesuffix('.')}.", rule.note))),
            "confidence": rule.confidence.value,
        }
        for rule in sorted(known, key=lambda rule: (rule.clause, rule.id))
        if rule.id in wanted or any(rule.clause in clause for clause in clauses if clause and _has_statements(rule))
    ]
    rules: list[base.RuleContent] = found
    return rules


def _has_statements(rule: object) -> bool:
    return bool(getattr(rule, "prerequisites", ()) or getattr(rule, "within", None))
