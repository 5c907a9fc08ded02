"""Judging a held function test anew: each line by its rules, the whole by what is left failed."""

from tests_app.models import FunctionLine, Outcome, Record
from tests_app.queries.function_subjects import component_copy, control_copy
from tests_app.queries.function_verdicts import circumstances_of, verdicts_of
from tests_app.queries.functioned import failed_open

_OUTCOMES = {None: Outcome.PENDING, True: Outcome.PASSED, False: Outcome.FAILED}


def judge_function_record(record: Record) -> None:
    """Judge every line of a held draft, and the whole. What was worked, and from where, is copied anew.

    A correction keeps the copies of the record it corrects: a component may have been amended since.
    """
    lines = list(lines_with_rows(record))
    for line in lines:
        copy_rows(line, anew=record.supersedes_id is None)
    for line, verdict in zip(lines, verdicts_of(lines, circumstances_of(record, lines)), strict=True):
        line.verdict = verdict
        line.outcome = _OUTCOMES[verdict["passes"]]
        line.save()
    test = record.function_test
    test.outcome = whole_outcome(lines)
    test.save(update_fields=["outcome"])


def lines_with_rows(record: Record) -> list[FunctionLine]:
    """Return the lines of a record in order, with what they refer to. One query."""
    rows = ("position", "component", "control_item", "station", "pod")
    return list(record.function_lines.select_related(*rows).order_by("order"))


def copy_rows(line: FunctionLine, *, anew: bool = True) -> None:
    """Keep on the line what was worked and from where, as it stands; only what is not kept yet, unless `anew`."""
    if anew or not line.subject_as_tested:
        if line.control_item is not None:
            line.subject_as_tested = control_copy(line.control_item)
        else:
            assert line.component is not None
            assert line.position is not None
            line.subject_as_tested = component_copy(line.component, line.position)
    kept = line.controls_as_used
    line.controls_as_used = {
        name: kept[name] if not anew and kept.get(name, {}).get("key") == item.pk else control_copy(item)
        for name, item in (("station", line.station), ("pod", line.pod))
        if item is not None
    }


def whole_outcome(lines: list[FunctionLine]) -> Outcome:
    """Return what a test came to: not judged while a line is not, not passed while one is left failed."""
    if not lines or any(line.outcome == Outcome.PENDING for line in lines):
        return Outcome.PENDING
    return Outcome.FAILED if failed_open(lines) else Outcome.PASSED
