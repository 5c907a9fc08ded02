"""A drawdown as a page tells it: measured beside predicted, and what each gas law makes of the same readings."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from accounts.presentation import number_text, quantity_in, unit_label
from calcs.drawdown import DrawdownFit
from calcs.gas import Model
from calcs.units import DISPLAY_UNITS, Dimension, System
from calcs.working import lines
from tests_app.models import GasState
from tests_app.queries.drawdowns import Comparison, ComparisonRow
from tests_app.web.bank_fields import MODEL_TITLES

_NONE: Final = "–"
_STATES: Final = {GasState.AT_ONCE: "at once", GasState.SETTLED: "after the wait"}


@dataclass(frozen=True)
class RowShown:
    """One function in the units of the page; a dash where there is no figure."""

    order: int
    name: str
    volume: str
    drawn: str
    at_once: str
    cold: str
    off_at_once: str
    settled: str
    warm: str
    off_settled: str
    ideal: str
    minimum: str
    short: bool


@dataclass(frozen=True)
class LawShown:
    """What one gas law makes of the readings of one state: bottles, and gas over nameplate in per cent."""

    title: str
    words: str
    share: str
    bottles: str
    counts: bool


@dataclass(frozen=True)
class LawsShown:
    """The same readings by each gas law."""

    state: str
    laws: Sequence[LawShown]
    bottles: int


@dataclass(frozen=True)
class Compared:
    """A comparison with its figures as texts."""

    comparison: Comparison
    unit: str
    volume_unit: str
    rows: Sequence[RowShown]
    laws: Sequence[LawsShown]
    start: str
    precharge: str
    limit: str
    final: str
    margin: str
    end_cold: str
    end_warm: str
    end_ideal: str
    has_settled: bool
    working: Sequence[str]

    @property
    def unit_words(self) -> str:
        """Return the unit of pressures as it is written."""
        return unit_label(self.unit)

    @property
    def volume_words(self) -> str:
        """Return the unit of volumes as it is written."""
        return unit_label(self.volume_unit)

    @property
    def has_readings(self) -> bool:
        """Tell whether any pressure is read."""
        return any(row.at_once is not None or row.settled is not None for row in self.comparison.rows)

    def row(self, order: int) -> RowShown | None:
        """Return the row of a function."""
        return next((one for one in self.rows if one.order == order), None)


def compared(comparison: Comparison, unit: str, units: System) -> Compared:
    """Return a comparison for a page that writes pressures in `unit`."""
    volumes = DISPLAY_UNITS[units][Dimension.VOLUME]
    verdict = comparison.verdict
    last = comparison.rows[-1] if comparison.rows else None
    ends = (last.cold, last.warm, last.ideal) if last else (None, None, None)
    end_cold, end_warm, end_ideal = (_pressure(one, unit) for one in ends)
    return Compared(
        comparison=comparison,
        unit=unit,
        volume_unit=volumes,
        rows=[_row(one, comparison.judged, unit, volumes) for one in comparison.rows],
        laws=[_laws(one.state, one.fit) for one in comparison.fits if one.fit is not None],
        start=_pressure(comparison.start, unit),
        precharge=_pressure(comparison.precharge, unit),
        limit=_pressure(verdict.limit if verdict else None, unit, 1),
        final=_pressure(verdict.final if verdict else None, unit, 1),
        margin=_signed(verdict.margin if verdict else None, unit, 1),
        end_cold=end_cold,
        end_warm=end_warm,
        end_ideal=end_ideal,
        has_settled=any(one.settled is not None for one in comparison.rows),
        working=lines(verdict.working, units) if verdict else (),
    )


def _row(row: ComparisonRow, judged: str, unit: str, volumes: str) -> RowShown:
    read = row.settled if judged == GasState.SETTLED else row.at_once
    return RowShown(
        order=row.order,
        name=row.name,
        volume=_volume(row.volume, volumes),
        drawn=_volume(row.drawn, volumes),
        at_once=_pressure(row.at_once, unit),
        cold=_pressure(row.cold, unit),
        off_at_once=_signed(row.difference_at_once, unit),
        settled=_pressure(row.settled, unit),
        warm=_pressure(row.warm, unit),
        off_settled=_signed(row.difference_settled, unit),
        ideal=_pressure(row.ideal, unit),
        minimum=_pressure(row.minimum, unit),
        short=read is not None and row.minimum is not None and read < row.minimum - 1.0,
    )


def _laws(state: str, fit: DrawdownFit) -> LawsShown:
    count = fit.test.nameplate.count
    shares = {one.model: one.gas_charge_ratio for one in fit.by_model}
    laws = [_law(model, shares[model], count, fit) for model in MODEL_TITLES if model in shares]
    return LawsShown(_STATES[GasState(state)], laws, count)


def _law(model: Model, share: float, count: int, fit: DrawdownFit) -> LawShown:
    words = f"{number_text(100 * share, 1)} %"
    return LawShown(MODEL_TITLES[model], model.words, words, number_text(count * share, 1), model is fit.test.model)


def _pressure(si: float | None, unit: str, places: int | None = None) -> str:
    return _NONE if si is None else quantity_in(si, Dimension.PRESSURE, unit, places).number


def _volume(si: float, unit: str) -> str:
    return quantity_in(si, Dimension.VOLUME, unit, 1).number


def _signed(si: float | None, unit: str, places: int | None = None) -> str:
    if si is None:
        return _NONE
    text = quantity_in(si, Dimension.PRESSURE, unit, places).number
    return text if text.startswith("−") or not text.strip("0.,") else f"+{text}"
