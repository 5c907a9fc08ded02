"""The shape of the sealed content of a function test; see `documents.content` for what all kinds share."""

from typing import Literal, TypedDict

from tests_app.documents.content import Choice, Confidence, Quantity, Sealed, SectionContent


class StatementContent(TypedDict):
    """Something that had to be so first, and who confirmed it."""

    words: str
    clause: str
    by: str


class FunctionHeadingContent(TypedDict):
    """What holds for the whole function test."""

    reason: Choice
    pipe_in_hole: Quantity | None
    manifold_pressure: Quantity | None
    annular_pressure: Quantity | None
    operator: str
    statements: list[StatementContent]


class WorkedSubject(TypedDict):
    """What was worked, as it stood: a component in its position, or a control item."""

    name: str  # "Upper pipe ram", "Drill floor station"
    kind: Choice
    serial: str  # "" of a control item
    maker: str
    model: str
    nominal_bore: Quantity | None
    closing_volume: Quantity | None  # on file
    opening_volume: Quantity | None


class MovementContent(TypedDict):
    """What the rules made of the time of one movement."""

    movement: Literal["close", "open"]
    seconds: float | None
    limit_s: float | None
    margin_s: float | None
    passes: bool | None  # None where no rule speaks of it
    clause: str
    confidence: Confidence | Literal[""]
    words: str
    trend: str  # beside the times before, or ""


class TurnContent(TypedDict):
    """A station or pod used the time before as well."""

    words: str
    clause: str


class WorkedLine(TypedDict):
    """One thing worked once."""

    order: int
    subject: WorkedSubject
    worked: Choice
    station: str
    pod: str
    closed_on: Choice | None
    pipe: Quantity | None
    closing_time: Quantity | None
    opening_time: Quantity | None
    closing_volume: Quantity | None
    opening_volume: Quantity | None
    counters: list[Quantity | None]  # before, between, after; empty where none was read
    completed: bool | None
    leak_seen: bool
    leak_description: str
    times: list[MovementContent]
    volumes: list[str]
    turns: list[TurnContent]
    reasons: list[str]
    notes: list[str]
    judged_by: str
    outcome: Choice
    retest_of: int | None  # order of the line it works again
    proved_by_retest: int | None  # failed here, passed later: the order of that line
    remarks: str


class FunctionContent(Sealed):
    """The whole of a function test."""

    form: Literal["function-test/1"]
    section: SectionContent | None
    heading: FunctionHeadingContent
    lines: list[WorkedLine]
    left_failed: list[int]  # orders of the lines left failed
