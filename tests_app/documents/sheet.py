"""Sealed content arranged as it is printed: every figure already words, so that the template only lays out."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from calcs.units import DISPLAY_UNITS, Dimension
from tests_app.documents import figures, plots
from tests_app.documents.content import (
    ComponentContent,
    Confidence,
    Content,
    HoldContent,
    LimitsContent,
    LineContent,
    Quantity,
    StepContent,
    UnassignedHold,
)
from tests_app.documents.sheet_rows import (
    CONFIDENCE_WORDS,
    Fact,
    PaperRows,
    Remark,
    common_rows,
    not_in_calibration,
    sentence,
    steps_named,
)
from tests_app.documents.unproven import UnprovenRow, otherwise_proved, unproven_rows

_FAILED: Final = "failed"
_NOT_ASKED: Final = "none asked"


@dataclass(frozen=True, slots=True)
class LineRow:
    """An element in the summary. Requirements that are those of its step are left blank: they stand above."""

    element: str
    serial: str
    side: str
    low_required: str
    high_required: str
    hold: str
    passed: bool
    note: str


@dataclass(frozen=True, slots=True)
class StepRow:
    """A step in the summary, with its elements under it."""

    order: int
    name: str
    low_required: str
    low_lowest: str
    high_required: str
    high_lowest: str
    hold: str
    passed: bool
    typed: bool
    notes: tuple[str, ...]
    lines: tuple[LineRow, ...]


@dataclass(frozen=True, slots=True)
class HoldRow:
    """One hold of a step, in full."""

    name: str
    required: str
    passed: bool
    begun: str = figures.ABSENT
    duration: str = figures.ABSENT
    start: str = figures.ABSENT
    end: str = figures.ABSENT
    lowest: str = figures.ABSENT
    highest: str = figures.ABSENT
    decay: str = figures.ABSENT
    rate: str = figures.ABSENT


@dataclass(frozen=True, slots=True)
class HeldStep:
    """A step as it was held: its figures, its plot or why there is none, and what was noted."""

    order: int
    name: str
    passed: bool
    elements: str
    svg: str
    svg_text: str
    typed: bool
    typed_reason: str
    holds: tuple[HoldRow, ...]
    reasons: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ComponentRow:
    """A component as it stood, once however often it was tested."""

    kind: str
    serial: str
    identity: str
    bore: str
    rated: str
    closes_on: str
    elements: str


@dataclass(frozen=True, slots=True)
class OpenRow:
    """An element left not passed."""

    element: str
    side: str
    step: int
    why: str


@dataclass(frozen=True, slots=True)
class Working:
    """How required pressures were worked out, once for all elements with the same working."""

    elements: str
    clause: str
    confidence: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Counts:
    """How much was tested.

    `high_alone` counts the steps no low test is asked of, `two_times` those whose low hold has its own time.
    """

    elements: int
    steps: int
    retests: int
    typed: int
    open: int
    high_alone: int
    two_times: int


@dataclass(frozen=True, slots=True)
class Sheet(PaperRows):
    """All that the template prints."""

    content: Content
    unit: str
    rate_unit: str
    counts: Counts
    facts: tuple[Fact, ...]
    summary: tuple[StepRow, ...]
    held: tuple[HeldStep, ...]
    open_lines: tuple[OpenRow, ...]
    alarms: tuple[str, ...]
    unproven: tuple[UnprovenRow, ...] | None  # None: sealed before this was written down
    otherwise_proved: str  # what stood there and is proved by other tests than a hold
    components: tuple[ComponentRow, ...]
    workings: tuple[Working, ...]
    remarks: tuple[Remark, ...]
    judged_from_files: bool


def sheet_of(content: Content) -> Sheet:
    """Arrange the content."""
    unit = DISPLAY_UNITS[content["rig"]["display_units"]][Dimension.PRESSURE]
    rate_unit = DISPLAY_UNITS[content["rig"]["display_units"]][Dimension.PRESSURE_RATE]
    return Sheet(
        **common_rows(content),
        content=content,
        unit=unit,
        rate_unit=rate_unit,
        counts=_counts(content),
        facts=tuple(_facts(content)),
        summary=tuple(_step_row(step, unit) for step in content["steps"]),
        held=tuple(_held_step(step, unit, rate_unit) for step in content["steps"]),
        open_lines=tuple(
            OpenRow(each["element"], _side(each["pressure_from"]), each["step"], each["why"])
            for each in content["open_lines"]
        ),
        alarms=(*content.get("alarms", ()), *not_in_calibration(content)),
        unproven=unproven_rows(content),
        otherwise_proved=otherwise_proved(content),
        components=tuple(_component_rows(content)),
        workings=tuple(_workings(content)),
        remarks=tuple(_remarks(content)),
        judged_from_files=any(step["evidence"]["key"] == "recording" for step in content["steps"]),
    )


def _counts(content: Content) -> Counts:
    lines = {(line["element"], line["pressure_from"]["key"]) for step in content["steps"] for line in step["lines"]}
    return Counts(
        elements=len({element for element, _side in lines}),
        steps=len(content["steps"]),
        retests=sum(step["retest_of"] is not None for step in content["steps"]),
        typed=sum(step["evidence"]["key"] == "typed" for step in content["steps"]),
        open=len(content["open_lines"]),
        high_alone=sum(not asks_low(step) for step in content["steps"]),
        two_times=sum(step["limits"].get("low_hold_s") is not None for step in content["steps"]),
    )


def _facts(content: Content) -> Iterator[Fact]:
    rig, stack, section, heading = content["rig"], content["stack"], content["section"], content["heading"]
    yield Fact("Rig", rig["name"], rig["kind"])
    yield Fact("Stack", stack["name"], stack["kind"]["text"])
    if section is not None:
        yield Fact("Well and section", section["well"], section["name"])
        approval = section["masp_margin_approval"]
        basis = f"{section['masp_basis']}. Approval {approval}" if approval else section["masp_basis"]
        yield Fact("MASP", figures.entered(section["masp"], rig["display_units"]), basis)
        approved = section.get("approved_test_pressure")
        if approved is not None:
            reference = section.get("approved_test_pressure_reference", "")
            yield Fact("Approved test pressure", figures.entered(approved, rig["display_units"]), reference)
    yield Fact("Begun", figures.moment_text(content["started_at"]), figures.utc_text(content["started_at"]))
    yield Fact("Concluded", figures.moment_text(content["concluded_at"]), figures.utc_text(content["concluded_at"]))
    yield Fact("Reason for the test", heading["reason"]["text"])
    yield Fact("Test fluid", heading["fluid"]["text"])
    yield Fact("Closed below by", heading["barrier"]["text"])
    pipe = heading["pipe_in_hole"]
    if pipe is not None:
        size = figures.entered(pipe, rig["display_units"], Dimension.LENGTH)
        yield Fact("Pipe in the hole, outside diameter", size)
    station, pod = heading["control_station"], heading["pod"]
    if station is not None:
        yield Fact("Control station", station["text"], pod["text"] if pod is not None else "")
    if heading["pump_operator"]:
        yield Fact("Pump operator", heading["pump_operator"])
    if heading["plan_reference"]:
        yield Fact("Test plan on site", heading["plan_reference"])


def _step_row(step: StepContent, unit: str) -> StepRow:
    limits = step["limits"]
    return StepRow(
        order=step["order"],
        name=step["name"],
        low_required=_low_required(limits, unit),
        low_lowest=_lowest(step["low"], unit) if asks_low(step) else figures.ABSENT,
        high_required=figures.required(limits["high_target"], unit),
        high_lowest=_lowest(step["high"], unit),
        hold=_hold_times(limits),
        passed=step["outcome"]["key"] == "passed",
        typed=step["evidence"]["key"] == "typed",
        notes=(*_reasons(step), *step.get("notes", ()), *_retest_notes(step)),
        lines=tuple(_line_row(line, step, unit) for line in step["lines"]),
    )


def asks_low(step: StepContent) -> bool:
    """Tell whether a low test is asked of the step."""
    return step["limits"]["low_min"] is not None


def _low_required(asked: LimitsContent, unit: str) -> str:
    return _band(asked["low_min"], asked["low_max"], unit)


def _band(low: Quantity | None, high: Quantity | None, unit: str) -> str:
    return _NOT_ASKED if low is None or high is None else figures.band(low, high, unit)


def _hold_times(asked: LimitsContent | LineContent) -> str:
    """Return how long each pressure is held: once where both last the same, else the low one's time first."""
    high, low = figures.minutes(asked["hold_s"]), asked.get("low_hold_s")
    if low is None:
        return high
    short = figures.minutes(low)
    return f"{short.removesuffix(' min') if high.endswith(' min') else short}/{high}"


def _lowest(hold: HoldContent | None, unit: str) -> str:
    """Return what a hold is known by; of one that does not pass no figure, which would look as if it did."""
    if hold is None or not hold["passes"]:
        return "not held"
    return figures.held(hold["min_pressure"], unit, figures.down)


def _reasons(step: StepContent) -> Iterator[str]:
    low = (("Low", step["low"]),) if asks_low(step) else ()
    for name, hold in (*low, ("High", step["high"])):
        if hold is None:
            yield f"{name} hold: none was held."
        else:
            yield from (sentence(f"{name} hold: {reason}") for reason in hold["reasons"])


def _retest_notes(step: StepContent) -> Iterator[str]:
    if step["retest_of"] is not None:
        yield f"Retest of step {step['retest_of']}."
    if step["retests"]:
        yield f"Tested again as {steps_named(step['retests'])}."


def _line_row(line: LineContent, step: StepContent, unit: str) -> LineRow:
    limits = step["limits"]
    low = _band(line["required_low_min"], line["required_low_max"], unit)
    high = figures.required(line["required_high"], unit)
    hold = _hold_times(line)
    return LineRow(
        element=line["element"],
        serial=line["component"]["serial"],
        side=_side(line["pressure_from"]["text"]),
        low_required="" if low == _low_required(limits, unit) else low,
        high_required="" if high == figures.required(limits["high_target"], unit) else high,
        hold="" if hold == _hold_times(limits) else hold,
        passed=line["outcome"]["key"] == "passed",
        note=_line_note(line),
    )


def _side(words: str) -> str:
    """Return a side under the head "Pressure from": ``Below`` for "From below"."""
    short = words.removeprefix("From ").removeprefix("the ")
    return short[:1].upper() + short[1:]


def _line_note(line: LineContent) -> str:
    parts = [f"Leak seen: {line['leak_description']}"] if line["leak_seen"] else []
    if line["proved_by_retest"] is not None:
        parts.append(f"Proved by step {line['proved_by_retest']}.")
    elif line["outcome"]["key"] == _FAILED:
        parts.append("Left not passed.")
    return " ".join(parts)


def _held_step(step: StepContent, unit: str, rate_unit: str) -> HeldStep:
    typed = step["evidence"]["key"] == "typed"
    curve = step["curve"]
    drawn = curve is not None and bool(curve["t"])
    return HeldStep(
        order=step["order"],
        name=step["name"],
        passed=step["outcome"]["key"] == "passed",
        elements=" · ".join(dict.fromkeys(line["element"] for line in step["lines"])),
        svg=plots.step_plot(step) if drawn else "",
        svg_text=plots.description(step) if drawn else "",
        typed=typed,
        typed_reason=step["typed_reason"],
        holds=tuple(_hold_rows(step, unit, rate_unit)),
        reasons=tuple(_reasons(step)),
        notes=tuple(_step_notes(step, unit)),
    )


def _hold_rows(step: StepContent, unit: str, rate_unit: str) -> Iterator[HoldRow]:
    limits = step["limits"]
    target = figures.required(limits["high_target"], unit)
    ceiling = limits["high_max"]
    high = f"≥ {target}" if ceiling is None else f"{target}–{figures.required(ceiling, unit, figures.down)}"
    if asks_low(step):
        yield _hold_row("Low", _low_required(limits, unit), step["low"], unit, rate_unit)
    yield _hold_row("High", high, step["high"], unit, rate_unit)


def _hold_row(name: str, required: str, hold: HoldContent | None, unit: str, rate_unit: str) -> HoldRow:
    if hold is None:
        return HoldRow(name, required, passed=False)
    return HoldRow(
        name=name,
        required=required,
        begun=_begun(hold),
        duration=figures.duration(hold["duration_s"]),
        start=figures.held(hold["start_pressure"], unit),
        end=figures.held(hold["end_pressure"], unit),
        lowest=figures.held(hold["min_pressure"], unit, figures.down),
        highest=figures.held(hold["max_pressure"], unit, figures.up),
        decay=figures.held(hold["decay"], unit, figures.up),
        rate=figures.rate(hold["decay_rate"], rate_unit),
        passed=hold["passes"],
    )


def _begun(hold: HoldContent) -> str:
    """Return when a hold began: by the clock where there is one, else as time into the recording."""
    local = figures.moment(hold["start_at"])
    if local is not None:
        return f"{local:%H:%M:%S}"
    return figures.ABSENT if hold["start_s"] is None else f"+{figures.duration(hold['start_s'])}"


def _step_notes(step: StepContent, unit: str) -> Iterator[str]:
    yield from step.get("notes", ())
    if not asks_low(step):
        yield "No low test is asked of this step by its rules."
    allowed = step["limits"]["max_decay"]
    if allowed is not None:
        most = figures.required(allowed, unit, figures.down)
        yield f"Largest fall allowed in a hold, by the test plan: {most} {unit}."
    if step["pump_point"]:
        yield f"Pumped from {step['pump_point']}."
    yield from _retest_notes(step)
    if step["recording"]:
        yield f"Judged from {step['recording']}."
    proposed, chosen = step["marks"]["proposed"], step["marks"]["chosen"]
    if chosen and (proposed is None or list(proposed) != list(chosen)):
        where = f"{figures.duration(chosen[0])} to {figures.duration(chosen[1])} on the recording"
        was = f", proposed {figures.duration(proposed[0])} to {figures.duration(proposed[1])}" if proposed else ""
        reason = step["marks"].get("reason", "")
        yield sentence(f"The tester set the step at {where}{was}{f': {reason}' if reason else ''}")
    low = step["low"]
    if low is not None and low["highest_before"] is not None:
        before = figures.held(low["highest_before"], unit, figures.up)
        yield f"Highest before the low hold: {before} {unit}."


def _component_rows(content: Content) -> Iterator[ComponentRow]:
    system = content["rig"]["display_units"]
    found: dict[tuple[str, str], tuple[ComponentContent, dict[str, None]]] = {}
    for step in content["steps"]:
        for line in step["lines"]:
            component = line["component"]
            key = (component["kind"], component["serial"])
            found.setdefault(key, (component, {}))[1][line["element"]] = None
    for component, elements in found.values():
        yield ComponentRow(
            kind=component["kind"],
            serial=component["serial"],
            identity=" ".join(filter(None, (component["maker"], component["model"]))),
            bore=figures.entered(component["nominal_bore"], system, Dimension.LENGTH),
            rated=figures.entered(component["rated_working_pressure"], system),
            closes_on=component["closes_on"],
            elements=" · ".join(elements),
        )


def _workings(content: Content) -> Iterator[Working]:
    """Give each working once, with the elements it holds for."""
    found: dict[tuple[str, Confidence, tuple[str, ...]], dict[str, None]] = {}
    for step in content["steps"]:
        for line in step["lines"]:
            key = (line["clause"], line["confidence"], tuple(line["working"]))
            found.setdefault(key, {})[line["element"]] = None
    for (clause, confidence, lines), elements in found.items():
        yield Working(" · ".join(elements), clause, CONFIDENCE_WORDS[confidence], lines)


def _remarks(content: Content) -> Iterator[Remark]:
    for step in content["steps"]:
        for line in step["lines"]:
            place = f"Step {step['order']}, {line['element']}"
            if line["leak_seen"]:
                yield Remark(place, line["leak_description"], leak=True)
            if line["remarks"]:
                yield Remark(place, line["remarks"])
        if step["remarks"]:
            yield Remark(f"Step {step['order']}", step["remarks"])
    for hold in content.get("unassigned_holds", []):
        yield Remark(f"Hold {hold['number']} of {hold['file_name']}", _unassigned(hold, content))
    if content["remarks"]:
        yield Remark("The whole test", content["remarks"])


def _unassigned(hold: UnassignedHold, content: Content) -> str:
    """Say of a hold no step is judged on when it was, how high, and that the remarks tell why."""
    unit = DISPLAY_UNITS[content["rig"]["display_units"]][Dimension.PRESSURE]
    clock = f", from {figures.moment_text(hold['start_at'])}" if hold["start_at"] is not None else ""
    reached = f", up to {figures.held(hold['highest'], unit, figures.up)} {unit}" if hold["highest"] is not None else ""
    where = f"{figures.duration(hold['start_s'])} to {figures.duration(hold['end_s'])} on the recording"
    return f"Assigned to no step: {where}{clock}{reached}; {hold['why']}. Why stands in the remarks on the whole test."
