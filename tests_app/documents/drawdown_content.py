"""The sealed content of a drawdown test and of a pump test, as `documents.content` is that of a pressure test.

Every key is always there; what was not given is None, "" or an empty list. Pressures are gauge, as the gauge at
surface shows them. Figures as entered keep their digits (text); those worked out are numbers.
"""

from typing import Final, Literal, TypedDict

from tests_app.documents.content import (
    Choice,
    ComponentContent,
    Confidence,
    InstrumentContent,
    Moment,
    Quantity,
    Sealed,
    SectionContent,
)

GasLaw = Literal["cold", "warm", "ideal"]
"""Nitrogen let out at once, settled nitrogen, the ideal gas."""
GAS_LAWS: Final[tuple[GasLaw, ...]] = ("cold", "warm", "ideal")


class BottleContent(TypedDict):
    """One bottle as it stood on the day."""

    number: int
    serial: str
    shell_volume: Quantity | None
    gas_volume: Quantity
    state: Choice  # in service, shut off …
    state_reason: str
    shell_tested_on: str  # ISO date, or ""
    shell_test_due_on: str
    pressure: Quantity | None  # precharge as read
    gas_temperature: Quantity | None  # at that reading
    at_reference: Quantity | None  # the reading brought to the bank's reference temperature by real nitrogen
    deviation: Quantity | None  # that over (+) or under (−) the design


class RoundContent(TypedDict):
    """The round in which the precharge was read."""

    taken_at: Moment
    taken_by: str
    instrument: InstrumentContent
    remarks: str


class BankContent(TypedDict):
    """The bank as it was tested."""

    purpose: Choice
    serial: str
    maker: str
    model: str
    location: Choice
    depth: Quantity | None
    control_fluid_gradient: Quantity | None
    seawater_gradient: Quantity | None
    precharge_basis: Choice
    design_precharge: Quantity
    reference_temperature: Quantity
    charged_pressure: Quantity
    minimum_operating_pressure: Quantity | None
    precharge_tolerance: Quantity | None
    tolerance_source: str
    bottles: list[BottleContent]
    precharge_round: RoundContent | None


class DrawdownHeadingContent(TypedDict):
    """What holds for the whole drawdown."""

    reason: Choice
    control_station: Choice | None
    pod: Choice | None
    pipe_in_hole: Quantity | None
    operator: str
    gas_temperature: Quantity | None
    start_pressure: Quantity | None
    start_settled: bool
    electric_pumps_isolated: bool
    air_pumps_isolated: bool
    isolation_confirmed_by: str
    wait_s: int | None
    judged: Choice  # at once, settled


class TimeLimitContent(TypedDict):
    """The time a rule allows a function."""

    within_s: float | None
    as_fast_as_rams: bool
    clause: str
    confidence: Confidence
    note: str


class Predicted(TypedDict):
    """What the bank's own gas should show after a function, and how far what was read lies from it."""

    cold: Quantity | None
    warm: Quantity | None
    ideal: Quantity | None
    difference_at_once: Quantity | None  # read at once less `cold`
    difference_settled: Quantity | None  # read after the wait less `warm`


class FunctionContent(Predicted):
    """One function as it was worked: measured beside predicted."""

    order: int
    name: str
    movement: Choice
    position: str
    component: ComponentContent | None
    volume: Quantity
    volume_from: Choice
    drawn: Quantity  # up to and with it
    limit: TimeLimitContent | None
    seconds: float | None
    minimum_pressure: Quantity | None  # the bank must still stand at
    minimum_working: list[str]
    pressure_at_once: Quantity | None
    pressure_settled: Quantity | None
    reasons: list[str]  # why it is not as asked; empty when it is
    remarks: str


class PredictedCurve(TypedDict):
    """A predicted curve, for the plot: as far as the bank can give."""

    drawn: list[float]
    pressure: list[float]


class Curves(TypedDict):
    """The predicted curves, by the law the gas is taken to follow."""

    cold: PredictedCurve
    warm: PredictedCurve
    ideal: PredictedCurve


class CurvesContent(Curves):
    """The predicted curves in the rig's units."""

    volume_unit: str
    pressure_unit: str


class EstimateContent(TypedDict):
    """A figure with its 95 % interval; no upper limit is None."""

    value: float
    low: float
    high: float | None


class FitContent(TypedDict):
    """What the readings of one state of the gas say of the bank."""

    state: Choice  # at once, settled
    law: str  # words: "real nitrogen, settled to its temperature"
    found: Literal["as-nameplate", "charge-low", "charge-high"]
    gas_charge_ratio: EstimateContent  # fitted gas over the nameplate's
    bottles: EstimateContent  # if the precharge is right
    bottles_standing: int
    told_apart: bool


class PrechargeJudged(TypedDict):
    """The precharge at the gas temperature of the test; subsea the one over the fluid column."""

    measured: Quantity | None
    design: Quantity | None
    in_band: bool | None
    tolerance: Quantity | None
    tolerance_source: str


class DrawdownVerdictContent(TypedDict):
    """What the rule makes of the drawdown."""

    passes: bool
    final: Quantity | None
    limit: Quantity | None
    margin: Quantity | None
    reasons: list[str]  # of the whole test, its functions and its chargings; empty when it passes
    notes: list[str]
    working: list[str]
    clause: str
    confidence: Confidence | None
    precharge: PrechargeJudged
    functions_asked: str  # which functions the rule asks for, in words


class RechargeContent(TypedDict):
    """One timed charging."""

    order: int
    pumps: Choice
    pump_out: str
    from_pressure: Quantity
    to_pressure: Quantity
    seconds: float
    within_s: float | None
    clause: str
    covers: bool  # it ran the whole way the rule asks for
    outcome: Choice  # pending where no rule sets a time
    reasons: list[str]
    notes: list[str]
    remarks: str


class DrawdownContent(Sealed):
    """The whole of a drawdown test."""

    form: Literal["drawdown-test/1"]
    section: SectionContent | None
    heading: DrawdownHeadingContent
    bank: BankContent
    bottles_in_service: int
    gas_volume: Quantity  # of the bottles in service
    functions: list[FunctionContent]
    curves: CurvesContent
    verdict: DrawdownVerdictContent
    fit: FitContent | None
    fit_refused: str  # why there is none, or ""
    other_fits: list[FitContent]  # of the state of the gas that is not judged
    sentence: str  # what the fit says
    warnings: list[str]
    recharges: list[RechargeContent]


class PumpHeadingContent(TypedDict):
    """What holds for the whole pump test."""

    reason: Choice
    operator: str


class SettingContent(TypedDict):
    """What one rule asks of a pump, and whether it was shown."""

    title: str
    clause: str
    starts_at_least: Quantity | None
    stops_from: Quantity | None
    stops_to: Quantity | None
    air_supply: Quantity | None  # it does its work on no more than this
    passes: bool
    reasons: list[str]
    notes: list[str]


class PumpReadingContent(TypedDict):
    """Where one pump started and stopped by itself."""

    pump: str
    duty: Choice
    drive: Choice
    starts_at: Quantity | None
    stops_at: Quantity | None
    air_supply: Quantity | None
    settings: list[SettingContent]
    outcome: Choice  # pending where no rule asks anything
    remarks: str


class PumpVerdictContent(TypedDict):
    """What the rules make of the pump test."""

    passes: bool
    reasons: list[str]
    notes: list[str]


class PumpContent(Sealed):
    """The whole of a pump test."""

    form: Literal["pump-test/1"]
    heading: PumpHeadingContent
    bank: BankContent
    recharges: list[RechargeContent]
    pumps: list[PumpReadingContent]
    verdict: PumpVerdictContent
