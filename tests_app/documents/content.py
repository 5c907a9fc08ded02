"""The sealed content of a record, and of a pressure test: all its paper prints, copied as text and plain JSON values.

`snapshot.content_of(record)` makes it, the seal is the SHA-256 of its canonical JSON (RFC 8785), and the
certificate is drawn from it alone: renaming a component, rig or label later changes nothing on paper.

Every key is always there; what was not given is None, "" or an empty list. Pressures are gauge. Seconds are
plain numbers. A value is the digits as entered (text, ungrouped, decimal point) or, where it was computed, an
unrounded number.
"""

from typing import Literal, NotRequired, TypedDict

Confidence = Literal["given", "read", "read-2", "derived", "memory", "memory-low"]
"""How surely a figure of a rule is known (calcs.rules.Confidence)."""


class Quantity(TypedDict):
    """A number and its unit: ``{"value": "10000", "unit": "psi"}`` as entered, ``{"value": 5012.37, …}`` computed."""

    value: str | float
    unit: str


class Moment(TypedDict):
    """One moment, to the second: ``2026-03-01T08:10:00Z`` and, on the rig's clock, ``2026-03-01T02:10:00-06:00``."""

    utc: str
    local: str


class Choice(TypedDict):
    """A choice from a closed list: its key (see the models) and its words as they stood."""

    key: str
    text: str


class RigContent(TypedDict):
    name: str
    kind: str  # words: "Jack-up"
    time_zone: str  # IANA name
    display_units: Literal["us", "si"]


class StackContent(TypedDict):
    name: str
    kind: Choice  # surface, subsea


class SectionContent(TypedDict):
    """The well and hole section the test was made for."""

    well: str
    name: str
    masp: Quantity | None
    masp_basis: str  # words: "Worked out from the section's figures", or the reason it was entered
    masp_margin_approval: str  # permit reference that allows MASP plus a margin, or ""
    approved_test_pressure: NotRequired[Quantity | None]  # records sealed earlier have none of these two
    approved_test_pressure_reference: NotRequired[str]


class Heading(TypedDict):
    """What holds for the whole test."""

    reason: Choice
    fluid: Choice
    barrier: Choice  # plug, cup, none, stump
    pipe_in_hole: Quantity | None  # outside diameter
    control_station: Choice | None
    pod: Choice | None
    pump_operator: str
    plan_reference: str


class OwnFigureContent(TypedDict):
    """A figure in which the rules are the rig's own."""

    rule: str  # the rule's title
    figure: str  # words: "Hold"
    own: str  # words: "10 min"
    source: str  # the source's value in words, or "" where it states none
    comparison: str  # words: "stricter", "looser"
    approval: str  # reference that allows a looser value, or ""
    clause: str  # where the source's value stands


class EditionContent(TypedDict):
    """The rules the test was judged by."""

    id: str  # "us-ocs"
    title: str  # "30 CFR 250 Subpart G, as amended to …"
    in_force_from: str  # ISO date or ""
    note: str  # what the edition says of itself (what was read, what is from memory), or ""
    own: NotRequired[list[OwnFigureContent]]  # of a rig's own copy: what is changed; not in records sealed earlier


class RuleContent(TypedDict):
    """One rule a step or line was judged by, cited once at the end of the certificate."""

    clause: str  # "30 CFR 250.737(b)(1)"
    text: str  # what it asks, in our words: "Low test 250 to 350 psi before the high test; …"
    confidence: Confidence


class ComponentContent(TypedDict):
    """A component as it stood when it was tested."""

    kind: str  # words: "Variable-bore ram"
    serial: str
    maker: str
    model: str
    nominal_bore: Quantity | None
    rated_working_pressure: Quantity | None
    closes_on: str  # words: "3 1/2 in to 5 1/2 in", "open hole", or ""


class LineContent(TypedDict):
    """One element a step proves."""

    element: str  # position name: "Upper pipe ram"
    component: ComponentContent
    pressure_from: Choice
    required_low_min: Quantity | None  # None, like the next, where no low test is asked
    required_low_max: Quantity | None
    required_high: Quantity
    hold_s: float  # of the high hold, and of the low one unless that has its own
    low_hold_s: NotRequired[float | None]  # not in records sealed earlier
    clause: str
    confidence: Confidence
    working: list[str]  # how the required pressures were worked out, line by line
    leak_seen: bool
    leak_description: str
    outcome: Choice  # passed, failed
    proved_by_retest: int | None  # failed here, passed later: the order of that step; None otherwise
    remarks: str


class LimitsContent(TypedDict):
    """What the step was judged by (the strictest of its lines)."""

    low_min: Quantity | None  # None, like the next two, where no low test is asked
    low_max: Quantity | None
    restart_above: Quantity | None
    high_target: Quantity
    high_max: Quantity | None
    hold_s: float  # of the high hold, and of the low one unless that has its own
    low_hold_s: NotRequired[float | None]  # not in records sealed earlier
    max_decay: Quantity | None
    max_gap_s: float | None


class HoldContent(TypedDict):
    """One judged hold. Where none was found, `passes` is false, the reasons say why and the figures are None."""

    passes: bool
    start_s: float | None  # on the clock of the recording (and of `curve.t`)
    end_s: float | None
    start_at: Moment | None  # where the recording has a clock, or as typed
    end_at: Moment | None
    duration_s: float | None
    start_pressure: Quantity | None
    end_pressure: Quantity | None
    min_pressure: Quantity | None
    max_pressure: Quantity | None
    decay: Quantity | None  # largest fall from any earlier to any later sample
    decay_rate: Quantity | None  # per minute
    highest_before: Quantity | None  # low hold: highest pressure since last at zero
    reasons: list[str]  # empty when it passes


class CurveContent(TypedDict):
    """The recording around this step, reduced for the plot; the verdict used the raw samples."""

    unit: str  # display unit of the rig
    t: list[float]  # s, rising
    p: list[float]


class MarksContent(TypedDict):
    """Where on the recording the step was proposed and chosen, s; None where there was no proposal or choice."""

    proposed: tuple[float, float] | list[float] | None
    chosen: tuple[float, float] | list[float] | None
    reason: NotRequired[str]  # why the tester moved them, or ""; records sealed earlier have none


class StepContent(TypedDict):
    """One line-up, held once low and once high, proving its lines at once."""

    order: int
    name: str
    pump_point: str
    evidence: Choice  # recording, typed
    typed_reason: str  # why readings were typed in, or ""
    recording: str  # file name it was judged from, or ""
    marks: MarksContent
    limits: LimitsContent
    low: HoldContent | None
    high: HoldContent | None
    curve: CurveContent | None
    outcome: Choice  # passed, failed
    concluded_at: Moment | None
    retest_of: int | None  # order of the step it repeats
    retests: list[int]  # orders of the steps that repeat it
    remarks: str
    notes: NotRequired[list[str]]  # what did not fail the step but was noted of its holds
    lines: list[LineContent]


class InstrumentContent(TypedDict):
    """An instrument as it stood at the test."""

    kind: str
    serial: str
    maker: str
    model: str
    range_low: Quantity | None
    range_high: Quantity
    accuracy_percent: str  # "0.1", or ""
    chart_hours: str
    calibrated_on: str  # ISO date, or ""
    calibration_due_on: str
    certificate_number: str
    in_date: bool | None  # on the rig-local day the test began; None when no due date is on file


class FileContent(TypedDict):
    """A file of the test, kept as received."""

    file_name: str
    kind: Choice  # samples, chart
    sha256: str
    size: int  # bytes
    received_at: Moment
    facts: str  # words: "12,400 samples, 1 s apart, psi, 3 h 26 min", or ""
    steps: list[int]  # orders of the steps judged from it or attached to
    withdrawn: bool
    withdrawn_reason: NotRequired[str]  # records sealed earlier tell it at the end of `facts`
    had_judged: NotRequired[list[str] | None]  # before it was set aside; None or no key: not known


class UnassignedHold(TypedDict):
    """An attempt found in a file that no step is judged on; the record's remarks name it and say why."""

    number: int  # among the holds found in the file, from 1: "hold 3" of the remarks
    file_name: str
    start_s: float
    end_s: float
    start_at: Moment | None
    highest: Quantity | None
    passes: bool  # by the step nearest to it
    why: str  # what the search said of it


class ProofContent(TypedDict):
    """An earlier test of a component."""

    record: int
    concluded_at: Moment


class UnprovenContent(TypedDict):
    """A component that stood on the stack and is not proved by this test."""

    position: str
    kind: str  # words
    serial: str
    by_hold: bool  # False where its kind is proved by other tests than a pressure hold
    failed_here: bool
    last_proved: ProofContent | None  # the latest signed test before this one that it passed
    failed_since: ProofContent | None  # a later one, before this test, that it did not pass


class SignatureContent(TypedDict):
    name: str
    role: Choice
    signed_at: Moment
    signed_sha256: str  # hash of what was signed


class OpenLine(TypedDict):
    """A line left failed: no later step proves the same element from the same side."""

    step: int
    element: str
    pressure_from: str  # words
    why: str  # words: "Leak seen: …", "High hold: fell under 5,000 psi after 84 s"


class SupersededRecord(TypedDict):
    number: int
    sha256: str
    reason: str


class RowsContent(TypedDict):
    """What was hashed of the database rows behind the record: a check finds a row changed after the seal."""

    columns: dict[str, list[str]]  # by table
    sha256: str


class Envelope(TypedDict):
    """Whose record it is, of when, by which rules, signed by whom: alike in every kind."""

    number: int
    kind: Choice  # pressure, drawdown, pump, function
    rig: RigContent
    stack: StackContent
    edition: EditionContent
    started_at: Moment
    concluded_at: Moment
    sealed_at: Moment
    instruments: list[InstrumentContent]
    remarks: str
    signatures: list[SignatureContent]
    supersedes: SupersededRecord | None
    previous_sha256: str  # seal of the rig's record sealed before it, or ""
    rows: RowsContent  # not printed
    software: str  # "Wellhold 0.1.0"


class Sealed(Envelope):
    """What the sealed content of every kind of record holds."""

    rules: list[RuleContent]
    passed: bool  # a pressure test: no line is left failed; another test: every part passed
    alarms: NotRequired[list[str]]  # what does not fail it and must not be overlooked; the oldest records have none
    files: list[FileContent]


class Content(Sealed):
    """The whole of a pressure test."""

    form: Literal["pressure-test/1"]
    section: SectionContent | None
    heading: Heading
    open_lines: list[OpenLine]
    steps: list[StepContent]
    unproven: NotRequired[list[UnprovenContent]]  # records sealed earlier have none
    unassigned_holds: NotRequired[list[UnassignedHold]]  # records sealed earlier have none
