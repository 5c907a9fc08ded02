"""The sealed content of a function test arranged as it is printed: every figure already words."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from calcs.function_verdicts import time_words
from calcs.units import DISPLAY_UNITS, Dimension
from tests_app.documents import figures
from tests_app.documents.bank_rows import FAILED, OPEN, PASSED, RESULT_WORDS, AskedRow, state_of
from tests_app.documents.content import Quantity
from tests_app.documents.function_content import FunctionContent, MovementContent, WorkedLine
from tests_app.documents.sheet_rows import Fact, PaperRows, Remark, common_rows, not_in_calibration, sentence


@dataclass(frozen=True, slots=True)
class WorkedRow:
    """One thing worked."""

    order: int
    name: str
    detail: str
    worked: str
    worked_from: str
    closed_on: str
    closing: str
    closing_limit: str
    opening: str
    opening_limit: str
    closing_volume: str
    opening_volume: str
    state: str
    word: str
    notes: tuple[str, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TrendRow:
    """A time beside those before it, and the fluid used beside what is on file."""

    name: str
    times: str
    volumes: str


@dataclass(frozen=True, slots=True)
class FunctionSheet(PaperRows):
    """All that the template prints."""

    content: FunctionContent
    volume_unit: str
    worked_from: str
    count: int
    retests: int
    asked: tuple[AskedRow, ...]
    reasons: tuple[str, ...]
    alarms: tuple[str, ...]
    facts: tuple[Fact, ...]
    rows: tuple[WorkedRow, ...]
    trends: tuple[TrendRow, ...]
    notes: tuple[str, ...]
    remarks: tuple[Remark, ...]


def function_sheet(content: FunctionContent) -> FunctionSheet:
    """Arrange the content."""
    unit = DISPLAY_UNITS[content["rig"]["display_units"]][Dimension.VOLUME]
    lines = content["lines"]
    return FunctionSheet(
        **common_rows(content),
        content=content,
        volume_unit=figures.unit_label(unit),
        worked_from=_listed(dict.fromkeys(line["station"] for line in lines if line["station"])),
        count=len({(line["subject"]["name"], line["subject"]["serial"]) for line in lines}),
        retests=sum(line["retest_of"] is not None for line in lines),
        asked=tuple(_asked(content)),
        reasons=tuple(_left_failed(content)),
        alarms=(*_shown_alarms(content), *not_in_calibration(content)),
        facts=tuple(_facts(content)),
        rows=tuple(_row(line, unit) for line in lines),
        trends=tuple(_trends(lines)),
        notes=tuple(dict.fromkeys(note for line in lines for note in line["notes"])),
        remarks=tuple(_remarks(content)),
    )


def _row(line: WorkedLine, unit: str) -> WorkedRow:
    subject = line["subject"]
    state = state_of(line["outcome"]["key"])
    return WorkedRow(
        order=line["order"],
        name=subject["name"],
        detail=" ".join(filter(None, (subject["kind"]["text"], subject["serial"]))),
        worked=line["worked"]["text"],
        worked_from=", ".join(filter(None, (line["station"], line["pod"]))) or figures.ABSENT,
        closed_on=_closed_on(line),
        closing=_seconds(line["closing_time"]),
        closing_limit=_limit(line, "close"),
        opening=_seconds(line["opening_time"]),
        opening_limit=_limit(line, "open"),
        closing_volume=_volume(line["closing_volume"], unit),
        opening_volume=_volume(line["opening_volume"], unit),
        state=state,
        word=RESULT_WORDS[state],
        notes=tuple(_row_notes(line)),
        reasons=tuple(line["reasons"]),
    )


def _seconds(quantity: Quantity | None) -> str:
    if quantity is None:
        return figures.ABSENT
    return figures.seconds_text(figures.in_unit(quantity, "s", Dimension.TIME))


def _volume(quantity: Quantity | None, unit: str) -> str:
    return figures.amount(quantity, unit, Dimension.VOLUME, 1)


def _limit(line: WorkedLine, movement: str) -> str:
    found = _movement(line, movement)
    return figures.ABSENT if found is None or found["limit_s"] is None else figures.seconds_text(found["limit_s"])


def _movement(line: WorkedLine, movement: str) -> MovementContent | None:
    return next((one for one in line["times"] if one["movement"] == movement), None)


def _closed_on(line: WorkedLine) -> str:
    if line["closed_on"] is None:
        return figures.ABSENT
    if line["pipe"] is None:
        return line["closed_on"]["text"]
    return f"{line['pipe']['value']} {figures.unit_label(line['pipe']['unit'])} pipe"


def _row_notes(line: WorkedLine) -> Iterator[str]:
    if line["retest_of"]:
        yield f"Works line {line['retest_of']} again."
    if line["proved_by_retest"]:
        yield f"Passed when worked again, line {line['proved_by_retest']}."
    if line["leak_seen"]:
        yield f"Leak or defect seen: {sentence(line['leak_description'])}"
    for turn in line["turns"]:
        yield f"{turn['words']} {sentence(turn['clause'])}"


def _asked(content: FunctionContent) -> Iterator[AskedRow]:
    """Sum up what was looked at: completeness, times, stations and pods, what had to be so first."""
    lines = content["lines"]
    final = [line for line in lines if not line["proved_by_retest"]]
    done = [line for line in final if line["completed"]]
    yield _row_asked(
        "Worked completely",
        "Every one",
        f"{len(done)} of {len(final)}",
        len(done) == len(final),
    )
    yield from _times_asked(final)
    yield _turns_asked(content, final)
    for one in content["heading"]["statements"]:
        yield AskedRow(
            "Had to be so first", f"{one['words']} {one['clause']}", f"Confirmed by {one['by']}", PASSED, "So"
        )


def _times_asked(final: Sequence[WorkedLine]) -> Iterator[AskedRow]:
    limited = [(line, one) for line in final for one in line["times"] if one["passes"] is not None]
    if not limited:
        yield AskedRow("Times", "No rule followed limits them", "Told line by line", "", "Not judged")
        return
    kept = [pair for pair in limited if pair[1]["passes"]]
    margins = [(one["margin_s"], line, one) for line, one in limited if one["margin_s"] is not None]
    shown = f"{len(kept)} of {len(limited)} kept"
    if margins:
        margin, line, one = min(margins, key=lambda each: each[0])
        least = time_words(abs(margin))
        shown += (
            f"; closest {line['subject']['name']}, {one['movement']}, {least} {'over' if margin < 0 else 'to spare'}"
        )
    clauses = "; ".join(dict.fromkeys(one["clause"] for _, one in limited))
    yield _row_asked("Times", f"Within the limits of {clauses}", shown, len(kept) == len(limited))


def _turns_asked(content: FunctionContent, final: Sequence[WorkedLine]) -> AskedRow:
    repeated = [line for line in final if line["turns"]]
    if not repeated:
        return AskedRow("Stations and pods", "Used in turn where a rule asks", "No repeat was found", PASSED, "In turn")
    clauses = "; ".join(dict.fromkeys(turn["clause"] for line in repeated for turn in line["turns"]))
    names = _listed(dict.fromkeys(line["subject"]["name"] for line in repeated))
    return AskedRow(
        "Stations and pods", f"Used in turn: {clauses}", f"The same as the time before for: {names}", OPEN, "Repeated"
    )


def _row_asked(what: str, asked: str, shown: str, holds: bool) -> AskedRow:
    state = PASSED if holds else FAILED
    return AskedRow(what, asked, shown, state, RESULT_WORDS[state])


def _left_failed(content: FunctionContent) -> Iterator[str]:
    for line in content["lines"]:
        if line["order"] in content["left_failed"]:
            yield f"{line['subject']['name']}, line {line['order']}: {' '.join(line['reasons'])}"


def _shown_alarms(content: FunctionContent) -> Iterator[str]:
    """Give the notes of the whole test; what belongs to a line is told in its row."""
    names = tuple(f"{line['subject']['name']}:" for line in content["lines"])
    left = tuple(f"{line['subject']['name']} did not pass:" for line in content["lines"])
    return (alarm for alarm in content.get("alarms", ()) if not alarm.startswith(names + left))


def _trends(lines: Sequence[WorkedLine]) -> Iterator[TrendRow]:
    for line in lines:
        times = [f"{_WORDS[one['movement']]} {one['trend']}" for one in line["times"] if one["trend"]]
        if times or line["volumes"]:
            name = f"{line['order']}. {line['subject']['name']}"
            yield TrendRow(name, " ".join(times) or figures.ABSENT, " ".join(line["volumes"]) or figures.ABSENT)


_WORDS = {"close": "Closing", "open": "Opening"}


def _facts(content: FunctionContent) -> Iterator[Fact]:
    rig, stack, heading = content["rig"], content["stack"], content["heading"]
    system = rig["display_units"]
    yield Fact("Rig", rig["name"], rig["kind"])
    yield Fact("Stack", stack["name"], stack["kind"]["text"])
    if content["section"] is not None:
        yield Fact("Well", content["section"]["well"], content["section"]["name"])
    yield Fact("Begun", figures.moment_text(content["started_at"]), figures.utc_text(content["started_at"]))
    yield Fact("Concluded", figures.moment_text(content["concluded_at"]), figures.utc_text(content["concluded_at"]))
    yield Fact("Reason for the test", heading["reason"]["text"])
    yield Fact("Pipe in the hole", _pipe(heading["pipe_in_hole"]))
    for name, words in (("manifold_pressure", "Manifold pressure"), ("annular_pressure", "Annular pressure")):
        if heading[name] is not None:  # type: ignore[literal-required]
            yield Fact(words, figures.entered(heading[name], system))  # type: ignore[literal-required]
    if heading["operator"]:
        yield Fact("Functions worked by", heading["operator"])


def _pipe(quantity: Quantity | None) -> str:
    return f"{quantity['value']} {figures.unit_label(quantity['unit'])}" if quantity else "None stated"


def _remarks(content: FunctionContent) -> Iterator[Remark]:
    for line in content["lines"]:
        place = f"{line['order']}. {line['subject']['name']}"
        if line["leak_seen"]:
            yield Remark(place, f"Leak or defect seen: {line['leak_description']}")
        if line["remarks"]:
            yield Remark(place, line["remarks"])
    if content["remarks"]:
        yield Remark("The whole test", content["remarks"])


def _listed(names: "dict[str, None]") -> str:
    known = list(names)
    if len(known) < 2:
        return "".join(known)
    return f"{', '.join(known[:-1])} and {known[-1]}"
