"""What a rule asks of one component: low band, high pressure, hold, each with its clause and working.

All pressures are gauge, in Pa; times in s.
"""

from dataclasses import dataclass, replace
from typing import Final

from calcs.errors import InputError
from calcs.pressures import MAX_PRESSURE
from calcs.rules import (
    Approved,
    Choice,
    Confidence,
    Fixed,
    Formula,
    Fraction,
    Greatest,
    Hold,
    HoldCondition,
    Least,
    LowBand,
    MaspPlus,
    PerDepth,
    PressureRule,
    Rating,
    Source,
    Subject,
    least_sure,
)
from calcs.units import Dimension, GaugePressure
from calcs.working import Amount, Step


@dataclass(frozen=True, slots=True)
class Approval:
    """A regulator's approval: its reference, and the pressure it names, when it names one."""

    reference: str
    pressure_gauge: GaugePressure | None = None

    def __post_init__(self) -> None:
        """Refuse an approval without a reference: that is none."""
        if not self.reference.strip():
            raise InputError("approval.reference", "The approval has no reference.", "Give the permit's number.")
        if self.pressure_gauge is not None:
            _pressure_in_range("approval.pressure", self.pressure_gauge)


@dataclass(frozen=True, slots=True)
class Figures:
    """What is known of the well and the stack, all gauge in Pa.

    Attributes:
        rwp: rated working pressure of the component.
        masp: maximum anticipated surface pressure of the section (subsea: at the wellhead).
        weakest_part: the lowest limit among the parts the test pressure reaches.
        approval: what a regulator approved.
        annular_rwp: rated working pressure of the stack's annular.
        wellhead_rwp: rated working pressure of the wellhead.
        casing_burst: internal yield pressure of the casing exposed.
        recorded: whether the hold is on a chart or digital recorder the rule accepts.
        casing_depth: true vertical depth the last casing is set at, m.
        approved_pressure: an approval that names the pressure, used where a rule asks for an approved one and
            nowhere else.
    """

    rwp: GaugePressure
    masp: GaugePressure | None = None
    weakest_part: GaugePressure | None = None
    approval: Approval | None = None
    annular_rwp: GaugePressure | None = None
    wellhead_rwp: GaugePressure | None = None
    casing_burst: GaugePressure | None = None
    recorded: bool = False
    casing_depth: float | None = None
    approved_pressure: Approval | None = None

    def __post_init__(self) -> None:
        """Refuse pressures of zero, less, or beyond any equipment."""
        _pressure_in_range("component.rwp", self.rwp)
        for field in ("masp", "weakest_part", "annular_rwp", "wellhead_rwp", "casing_burst"):
            given = getattr(self, field)
            if given is not None:
                _pressure_in_range(field, given)
        if self.casing_depth is not None and not 0 < self.casing_depth <= _DEEPEST_CASING:
            raise InputError("casing_depth", "No casing is set at such a depth.", "Check the value and its unit.")


_DEEPEST_CASING: Final = 15_000.0
"""m; deeper than any well."""


@dataclass(frozen=True, slots=True)
class RequiredPressures:
    """What one component's test must show.

    Attributes:
        rule: the rule whose high pressure governs.
        low: the low band, None where no rule asks for a low test.
        high_gauge: the high pressure to hold at every sample.
        hold: how long the high pressure is held, s.
        low_hold: how long the low one is held, s; None where no low test is asked.
        sources: clause and confidence of ``low``, ``high`` and ``hold``.
        working: how each figure came about.
        notes: what the reader must know besides.
        limited_by_weakest: whether the weakest exposed part set the high pressure.
    """

    rule: PressureRule
    low: LowBand | None
    high_gauge: GaugePressure
    hold: float
    low_hold: float | None
    sources: dict[str, Source]
    working: tuple[Step, ...]
    notes: tuple[str, ...]
    limited_by_weakest: bool

    @property
    def clause(self) -> str:
        """Every clause used, once each, in the order low, high, hold."""
        return "; ".join(dict.fromkeys(source.clause for source in self.sources.values()))

    @property
    def confidence(self) -> Confidence:
        """The least sure confidence among the figures."""
        return least_sure(list(self.sources.values()))


@dataclass(frozen=True, slots=True)
class _Worked:
    pressure: GaugePressure
    steps: tuple[Step, ...]
    notes: tuple[str, ...] = ()


def required_pressures(
    choice: Choice | PressureRule,
    *,
    rwp: GaugePressure,
    masp: GaugePressure | None = None,
    weakest_part: GaugePressure | None = None,
    approval: Approval | None = None,
    annular_rwp: GaugePressure | None = None,
    wellhead_rwp: GaugePressure | None = None,
    casing_burst: GaugePressure | None = None,
    recorded: bool = False,
    casing_depth: float | None = None,
    approved_pressure: Approval | None = None,
) -> RequiredPressures:
    """Return low band, high pressure and hold that the chosen rules ask of a component.

    See `Figures` for the arguments. Where several rules apply, each figure is the strictest of them
    and the notes name the rest. The high pressure never passes the weakest exposed part or the
    component's own RWP; MASP plus a margin stands in for the RWP only with an approval's reference.

    Raises InputError for an exempt component, a figure the rule needs and lacks, or one out of range.

    >>> from calcs.rules import High, Scope
    >>> source = Source("30 CFR 250.737(b)(3)", Confidence.MEMORY)
    >>> high, hold = High(Fraction(0.7), source), Hold(300, source)
    >>> rule = PressureRule("r", "c", "t", Confidence.READ, (Scope(),), None, high, hold)
    >>> psi = 6894.757293168361
    >>> round(required_pressures(rule, rwp=GaugePressure(5000 * psi)).high_gauge / psi)
    3500
    """
    figures = Figures(
        rwp,
        masp,
        weakest_part,
        approval,
        annular_rwp,
        wellhead_rwp,
        casing_burst,
        recorded,
        casing_depth,
        approved_pressure,
    )
    subject = choice.subject if isinstance(choice, Choice) else None
    rules = _rules(choice)
    worked = [(rule, _high(rule, figures)) for rule in rules]
    rule, high = max(worked, key=lambda one: one[1].pressure)
    capped = _capped(high, figures)
    low = max((r.low for r in rules if r.low), key=lambda band: band.min_gauge, default=None)
    (hold, low_hold), hold_source, hold_notes = _longest_hold(rules, subject, figures)
    _refuse_high_in_band(capped.pressure, low, figures)
    sources = {"low": low.source} if low else {}
    sources |= {"high": rule.high.source, "hold": hold_source}
    return RequiredPressures(
        rule=rule,
        low=low,
        high_gauge=capped.pressure,
        hold=hold,
        low_hold=low_hold if low else None,
        sources=sources,
        working=(*_low_steps(low), *capped.steps, *_hold_steps(hold, low_hold if low else None)),
        notes=(
            *capped.notes,
            *hold_notes,
            *_no_low(low, rules),
            *_own_figures(sources),
            *_others(rule, worked),
            *_reservations(sources),
        ),
        limited_by_weakest=weakest_part is not None and weakest_part < min(high.pressure, rwp),
    )


def _rules(choice: Choice | PressureRule) -> tuple[PressureRule, ...]:
    if isinstance(choice, PressureRule):
        return (choice,)
    if choice.exempt is not None:
        raise InputError("component.kind", choice.exempt.reason, "No pressure test is recorded for it.")
    return choice.pressure_rules


def _high(rule: PressureRule, figures: Figures) -> _Worked:
    """Work the rule's high pressure, by its alternative or the approved value where one is approved."""
    approval = figures.approval
    if approval is not None and approval.pressure_gauge is not None:
        return _approved(approval)
    if rule.high.alternative is None:
        return _work(rule.high.formula, figures)
    if approval is not None:
        worked = _work(rule.high.alternative, figures)
        return replace(worked, notes=(*worked.notes, f"Approved under {approval.reference}."))
    worked = _work(rule.high.formula, figures)
    note = "A lower pressure, MASP plus a margin, may be used only with the reference of its approval."
    return replace(worked, notes=(*worked.notes, note)) if figures.masp is not None else worked


def _work(formula: Formula, figures: Figures) -> _Worked:
    match formula:
        case Fraction():
            return _fraction(formula, figures)
        case MaspPlus():
            return _masp_plus(formula, figures)
        case Fixed():
            amount = _amount(formula.pressure_gauge)
            return _Worked(formula.pressure_gauge, (Step("Fixed pressure", "{0}", (amount,), amount),))
        case PerDepth():
            return _per_depth(formula, figures)
        case Approved():
            return _approved(figures.approved_pressure or figures.approval)
        case Least() | Greatest():
            return _compared(formula, figures)


def _fraction(formula: Fraction, figures: Figures) -> _Worked:
    ratings = {
        Rating.COMPONENT: ("component.rwp", "RWP of the component", figures.rwp),
        Rating.ANNULAR: ("annular_rwp", "RWP of the annular", figures.annular_rwp),
        Rating.WELLHEAD: ("wellhead_rwp", "RWP of the wellhead", figures.wellhead_rwp),
        Rating.CASING_BURST: ("casing_burst", "internal yield pressure of the casing", figures.casing_burst),
    }
    field, label, rating = ratings[formula.of]
    if rating is None:
        raise InputError(field, f"The rule needs the {label}.", f"Give {field}.")
    pressure = GaugePressure(formula.fraction * rating)
    how = f"{formula.fraction * 100:g} % of the {label}, {{0}}"
    return _Worked(pressure, (Step("High pressure", how, (_amount(rating),), _amount(pressure)),))


def _masp_plus(formula: MaspPlus, figures: Figures) -> _Worked:
    if figures.masp is None:
        raise InputError("masp", "The rule needs the maximum anticipated surface pressure.", "Give masp.")
    if formula.needs_approval and figures.approval is None:
        raise InputError("approval", "MASP plus a margin needs an approval.", "Give the reference of the approval.")
    pressure = GaugePressure(figures.masp + formula.margin)
    if formula.margin:
        terms = (_amount(figures.masp), _amount(formula.margin))
        return _Worked(pressure, (Step("High pressure", "MASP {0} + {1}", terms, _amount(pressure)),))
    return _Worked(pressure, (Step("High pressure", "MASP", (), _amount(pressure)),))


def _per_depth(formula: PerDepth, figures: Figures) -> _Worked:
    if figures.casing_depth is None:
        raise InputError("casing_depth", "The rule needs the depth of the last casing.", "Give casing_depth.")
    pressure = GaugePressure(formula.gradient * figures.casing_depth)
    terms = (Amount(formula.gradient, Dimension.PRESSURE_GRADIENT), Amount(figures.casing_depth, Dimension.LENGTH))
    return _Worked(pressure, (Step("High pressure", "{0} of the casing's depth, {1}", terms, _amount(pressure)),))


def _approved(approval: Approval | None) -> _Worked:
    if approval is None or approval.pressure_gauge is None:
        raise InputError("approval", "The rule needs an approved pressure.", "Give its reference and pressure.")
    amount = _amount(approval.pressure_gauge)
    note = f"Pressure approved under {approval.reference}."
    return _Worked(approval.pressure_gauge, (Step("High pressure", "approved value", (), amount),), (note,))


def _compared(formula: Least | Greatest, figures: Figures) -> _Worked:
    worked = [_work(one, figures) for one in formula.of]
    least = isinstance(formula, Least)
    pressure = (min if least else max)(one.pressure for one in worked)
    listed = ", ".join(f"{{{index}}}" for index in range(len(worked)))
    how = f"the {'least' if least else 'greatest'} of {listed}"
    steps = tuple(step for one in worked for step in one.steps)
    terms = tuple(_amount(one.pressure) for one in worked)
    notes = tuple(note for one in worked for note in one.notes)
    return _Worked(pressure, (*steps, Step("High pressure", how, terms, _amount(pressure))), notes)


def _capped(high: _Worked, figures: Figures) -> _Worked:
    """Bring the pressure under the component's own rating and the weakest exposed part."""
    limits = [("RWP of the component", figures.rwp)]
    if figures.weakest_part is not None:
        limits.append(("weakest exposed part", figures.weakest_part))
    label, limit = min(limits, key=lambda one: one[1])
    notes = high.notes
    if figures.weakest_part is None:
        notes += ("No weakest part was given: check wellhead, casing or plug, spools and valves exposed.",)
    if high.pressure <= limit:
        return replace(high, notes=(*notes, *_below_masp(high.pressure, figures)))
    terms = (_amount(high.pressure), _amount(limit))
    step = Step("High pressure, limited", f"the lesser of {{0}} and the {label}, {{1}}", terms, _amount(limit))
    return _Worked(limit, (*high.steps, step), (*notes, f"Limited by the {label}.", *_below_masp(limit, figures)))


def _below_masp(pressure: GaugePressure, figures: Figures) -> tuple[str, ...]:
    if figures.masp is None or pressure >= figures.masp:
        return ()
    return ("Warning: this test pressure is below the maximum anticipated surface pressure.",)


def _longest_hold(
    rules: tuple[PressureRule, ...], subject: Subject | None, figures: Figures
) -> tuple[tuple[float, float], Source, tuple[str, ...]]:
    """Return how long the high and the low pressure are held, s: of several rules the longest of each."""
    held = [(*_hold_of(rule.hold, subject, figures), rule.hold) for rule in rules if rule.hold is not None]
    if not held:
        raise InputError(
            "hold", "The rules give no time to hold the pressure for.", "Follow them together with rules that give one."
        )
    duration, notes, hold = max(held, key=lambda one: one[0])
    low = max(min(one.low, lasts) if one.low is not None else lasts for lasts, _, one in held)
    return (duration, low), hold.source, notes


def _hold_of(hold: Hold, subject: Subject | None, figures: Figures) -> tuple[float, tuple[str, ...]]:
    if hold.reduced is None or subject is None:
        return hold.duration, ()
    if HoldCondition.AT_SURFACE in hold.conditions and not subject.at_surface:
        return hold.duration, ()
    short = f"{hold.reduced / 60:g} min"
    if HoldCondition.ELIGIBLE_RECORDER in hold.conditions and not figures.recorded:
        return hold.duration, (f"{short} are enough when recorded on a chart or digital recorder the rule accepts.",)
    return hold.reduced, (
        f"{short} instead of {hold.duration / 60:g} min: every condition of {hold.source.clause} is met.",
    )


def _refuse_high_in_band(high: GaugePressure, low: LowBand | None, figures: Figures) -> None:
    field = "weakest_part" if high == figures.weakest_part else "component.rwp"
    if low is not None and high <= low.max_gauge:
        raise InputError(
            field,
            "The high pressure does not lie over the low band.",
            "Check the rating, the MASP and the weakest part.",
        )


def _low_steps(low: LowBand | None) -> tuple[Step, ...]:
    if low is None:
        return ()
    return (
        Step("Low test, no lower than", "", (), _amount(low.min_gauge)),
        Step("Low test, no higher than", "", (), _amount(low.max_gauge)),
        Step("Low test, bleed to zero and start again when over", "", (), _amount(low.restart_above_gauge)),
    )


def _hold_steps(hold: float, low_hold: float | None) -> tuple[Step, ...]:
    lasts = Amount(hold, Dimension.TIME)
    if low_hold is None:
        return (Step("Hold, high alone, no shorter than", "", (), lasts),)
    if low_hold == hold:
        return (Step("Hold, low and high, no shorter than", "", (), lasts),)
    return (
        Step("Low hold, no shorter than", "", (), Amount(low_hold, Dimension.TIME)),
        Step("High hold, no shorter than", "", (), lasts),
    )


def _no_low(low: LowBand | None, rules: tuple[PressureRule, ...]) -> tuple[str, ...]:
    clauses = "; ".join(dict.fromkeys(rule.clause for rule in rules))
    return () if low else (f"No low test is asked by {clauses}, as far as it is on file.",)


def _own_figures(sources: dict[str, Source]) -> tuple[str, ...]:
    """Return what a rig's own programme changed of the figures used, with the source's value."""
    return tuple(dict.fromkeys(source.note for source in sources.values() if source.own))


def _others(rule: PressureRule, worked: list[tuple[PressureRule, _Worked]]) -> tuple[str, ...]:
    others = [one.id for one, _ in worked if one is not rule]
    return (f"Stricter of several rules: {rule.id} over {', '.join(others)}.",) if others else ()


def _reservations(sources: dict[str, Source]) -> tuple[str, ...]:
    unsure = [name for name, source in sources.items() if source.confidence.startswith("memory")]
    return (f"From memory, to be checked against the clause: {', '.join(unsure)}.",) if unsure else ()


def _amount(si: float) -> Amount:
    return Amount(si, Dimension.PRESSURE)


def _pressure_in_range(field: str, pressure: float) -> None:
    if not 0 < pressure <= MAX_PRESSURE:
        raise InputError(field, "The pressure is not over zero or is absurdly high.", "Check the value and its unit.")
