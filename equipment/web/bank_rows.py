"""Precharge readings as a page tells them: verdicts in words, and the list of all readings."""

from dataclasses import dataclass
from typing import Any, Final

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from accounts.presentation import number_text, quantity_shown
from accounts.templatetags.wellhold import state
from calcs.units import Dimension, System, shown
from equipment.models import Bank, BottleState, PrechargeReading
from equipment.queries.banks import BottleStanding, Compensated, Judged, Judgement, judged
from equipment.web.columns import ListTable, MomentColumn, QuantityColumn, day_text

_STATES: Final = {
    Judgement.WITHIN: "passed",
    Judgement.LOW: "not-passed",
    Judgement.HIGH: "not-passed",
    Judgement.NO_BAND: "not-judged",
    Judgement.NOT_WORKED_OUT: "unknown",
}


@dataclass(frozen=True)
class Mark:
    """A verdict: the key of its state, its words, and one line more where there is more to say."""

    state: str
    words: str
    also: str = ""


@dataclass(frozen=True)
class BottleLine:
    """A line of the table of bottles."""

    standing: BottleStanding
    mark: Mark
    deviation: str


def bottle_line(bank: Bank, standing: BottleStanding, units: System) -> BottleLine:
    """Return a bottle with its verdict in words; one that is out of use is not judged."""
    bottle, latest = standing.bottle, standing.latest
    deviation = signed(latest.real.deviation, units) if latest else ""
    if bottle.state != BottleState.IN_SERVICE:
        words = f"{bottle.get_state_display()} since {day_text(bottle.state_since)}"
        return BottleLine(standing, Mark("out-of-service", words, bottle.state_reason), deviation)
    if latest is None:
        return BottleLine(standing, Mark("not-proven", "Never read"), deviation)
    return BottleLine(standing, verdict(bank, latest, units), deviation)


def verdict(bank: Bank, found: Judged, units: System) -> Mark:
    """Return what real nitrogen says of a reading, and what the ideal gas would say where that differs."""
    also = []
    if found.laws_disagree:
        other = _words(bank, found.ideal, units)
        also.append(f"The ideal gas would say: {other[:1].lower()}{other[1:]}.")
    if found.within_accuracy:
        also.append("Nearer to the edge of the band than the gauge's accuracy.")
    return Mark(_STATES[found.real.judgement], _words(bank, found.real, units), " ".join(also))


def _words(bank: Bank, by_law: Compensated, units: System) -> str:
    if by_law.judgement is Judgement.NO_BAND:
        return "Not judged: no tolerance on file"
    if by_law.judgement is Judgement.NOT_WORKED_OUT:
        return "Cannot be worked out"
    band = quantity_shown(bank.precharge_tolerance.si, Dimension.PRESSURE, units)
    if by_law.judgement is Judgement.WITHIN:
        return f"Within ±{band}"
    return f"{'Low' if by_law.judgement is Judgement.LOW else 'High'} by more than {band}"


def signed(pascals: float | None, units: System) -> str:
    """Return a deviation with its sign, one place more than a limit has; nothing for none."""
    if pascals is None:
        return ""
    text = quantity_shown(pascals, Dimension.PRESSURE, units, 1).number
    return text if text.startswith("−") or not text.strip("0.") else f"+{text}"


class ReadingTable(ListTable):
    """Every reading of a bank, corrected ones too."""

    taken_at = MomentColumn("Read at", accessor="check_round__taken_at")
    position = tables.Column("Position", accessor="bottle__position_number", visible=False)
    serial = tables.Column(
        "Bottle", accessor="bottle__serial", order_by=("bottle__position_number",), attrs={"td": {"class": "nowrap"}}
    )
    pressure = QuantityColumn(Dimension.PRESSURE, "As read", order_by=("pressure_si",))
    gas_temperature = QuantityColumn(Dimension.TEMPERATURE, "Gas at", places=1, order_by=("gas_temperature_si",))
    real = QuantityColumn(Dimension.PRESSURE, "Compensated", accessor="pressure_si", orderable=False)
    ideal = QuantityColumn(Dimension.PRESSURE, "By ideal gas", accessor="pressure_si", orderable=False)
    deviation = QuantityColumn(Dimension.PRESSURE, "Off design", accessor="pressure_si", orderable=False)
    verdict = tables.Column("Verdict", accessor="pressure_si", orderable=False)
    instrument = tables.Column("Gauge", accessor="check_round__instrument__serial", attrs={"td": {"class": "nowrap"}})
    taken_by = tables.Column("Read by", accessor="check_round__taken_by")
    note = tables.Column("Note", accessor="reason", empty_values=(), orderable=False, visible=False)
    correct = tables.Column("", accessor="pk", orderable=False, exclude_from_export=True)

    class Meta:
        empty_text = "No precharge was ever read. Enter the first round once the fluid is bled off."
        default = "–"

    def __init__(self, *args: Any, bank: Bank, **options: Any) -> None:
        self.bank = bank
        self._judged: dict[int, Judged] = {}
        super().__init__(*args, **options)

    def _found(self, reading: PrechargeReading) -> Judged:
        if reading.pk not in self._judged:
            self._judged[reading.pk] = judged(self.bank, reading)
        return self._judged[reading.pk]

    def _number(self, pascals: float | None) -> str:
        return "–" if pascals is None else quantity_shown(pascals, Dimension.PRESSURE, self.units, 1).number

    def _plain(self, pascals: float | None) -> float | str:
        return "" if pascals is None else float(f"{shown(pascals, Dimension.PRESSURE, self.units).value:.9g}")

    def render_real(self, record: PrechargeReading) -> str:
        """Return the reading at the bank's reference temperature, by real nitrogen."""
        return self._number(self._found(record).real.pressure)

    def value_real(self, record: PrechargeReading) -> float | str:
        """Return the same for an export."""
        return self._plain(self._found(record).real.pressure)

    def render_ideal(self, record: PrechargeReading) -> str:
        """Return the same by the ideal gas."""
        return self._number(self._found(record).ideal.pressure)

    def value_ideal(self, record: PrechargeReading) -> float | str:
        """Return the same for an export."""
        return self._plain(self._found(record).ideal.pressure)

    def render_deviation(self, record: PrechargeReading) -> str:
        """Return how far it is off the design, by real nitrogen."""
        return signed(self._found(record).real.deviation, self.units) or "–"

    def value_deviation(self, record: PrechargeReading) -> float | str:
        """Return the same for an export."""
        return self._plain(self._found(record).real.deviation)

    def render_verdict(self, record: PrechargeReading) -> SafeString:
        """Return the verdict; a corrected reading is not judged."""
        mark, note = self._mark(record), self.value_note(record)
        shown_mark = state(mark.state, mark.words)
        return format_html('{}<br><span class="soft small">{}</span>', shown_mark, note) if note else shown_mark

    def value_verdict(self, record: PrechargeReading) -> str:
        """Return its words for an export."""
        return self._mark(record).words

    def _mark(self, record: PrechargeReading) -> Mark:
        if getattr(record, "is_corrected", False):
            return Mark("superseded", "Corrected later")
        return verdict(self.bank, self._found(record), self.units)

    def render_serial(self, record: PrechargeReading) -> SafeString:
        """Return the bottle with its position."""
        bottle = record.bottle
        return format_html('{} <span class="soft">{}</span>', bottle.position_number, bottle.serial)

    def value_serial(self, value: str) -> str:
        """Return the serial number for an export; the position has a column of its own there."""
        return value

    def value_note(self, record: PrechargeReading) -> str:
        """Return what a correction corrects and why, or what else the verdict needs; a page shows it under that."""
        earlier = record.corrects
        if earlier is not None:
            figure = quantity_shown(earlier.pressure.si, Dimension.PRESSURE, self.units)
            warmth = quantity_shown(earlier.gas_temperature.si, Dimension.TEMPERATURE, self.units, 1)
            return f"In place of {figure} at {warmth}: {record.reason} ({record.recorded_by})"
        return self._mark(record).also

    def render_correct(self, record: PrechargeReading) -> SafeString | str:
        """Return the way to correct a reading that is not corrected yet."""
        if getattr(record, "is_corrected", False):
            return ""
        address = reverse("equipment:precharge-correct", args=[record.pk])
        return format_html('<a href="{}">Correct<span class="visually-hidden"> {}</span></a>', address, record)


def share(ratio: float) -> str:
    """Return a ratio to its nameplate in percent."""
    return f"{number_text(100 * ratio, 1)} %"
