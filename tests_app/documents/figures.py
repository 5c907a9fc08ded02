"""Numbers and moments of a test as they are shown, on pages and on paper alike.

Held pressures are rounded against the test, so that no printed figure looks better than what was measured:
lowest pressures down, highest pressures, falls and their rates up.
"""

import math
from collections.abc import Callable
from datetime import date, datetime
from typing import Final

from accounts.presentation import date_text, number_text, unit_label, zone_label
from calcs.units import DISPLAY_UNITS, Dimension, System, from_si, read
from tests_app.documents.content import Moment, Quantity

ABSENT: Final = "–"
JUDGED_PLACES: Final = {"psi": 1, "kPa": 1, "bar": 2, "MPa": 3, "psi/min": 1, "kPa/min": 1, "bar/min": 2, "MPa/min": 3}
"""Places of held pressures: one more than a limit has, since 2,999.6 psi is not 3,000 psi."""

# A hundredth of the last place printed: what conversion between units leaves, not what an instrument reads.
_ROUNDING: Final = 0.01
_MINUTE: Final = 60.0
_HOUR: Final = 3600.0

Rounding = Callable[[float, int], float]


def nearest(value: float, places: int) -> float:
    """Round to the nearest."""
    return round(value, places)


def down(value: float, places: int) -> float:
    """Round down, for what must not be less."""
    return math.floor(value * 10**places + _ROUNDING) / 10**places


def up(value: float, places: int) -> float:
    """Round up, for what must not be more."""
    return math.ceil(value * 10**places - _ROUNDING) / 10**places


def in_unit(quantity: Quantity, unit: str, dimension: Dimension = Dimension.PRESSURE) -> float:
    """Return the number of `quantity` in `unit`; raises InputError for a unit of another dimension."""
    if quantity["unit"] == unit:
        return float(quantity["value"])
    return from_si(read(dict(quantity), dimension, field="quantity").si(dimension), unit, dimension)


def held(quantity: Quantity | None, unit: str, rounding: Rounding = nearest) -> str:
    """Return a measured pressure in `unit` as a number alone, with the places held pressures have."""
    if quantity is None:
        return ABSENT
    places = JUDGED_PLACES[unit]
    return number_text(rounding(in_unit(quantity, unit), places), places)


def rate(quantity: Quantity | None, unit: str) -> str:
    """Return a rate of decay in `unit`, rounded up, as a number alone."""
    if quantity is None:
        return ABSENT
    places = JUDGED_PLACES[unit]
    return number_text(up(in_unit(quantity, unit, Dimension.PRESSURE_RATE), places), places)


def required(quantity: Quantity, unit: str, rounding: Rounding = up) -> str:
    """Return a required pressure in `unit` as a number alone: as entered, or converted and rounded to one place.

    A floor is rounded up and (`rounding=down`) a ceiling down, so that what meets the print meets the limit.
    """
    if quantity["unit"] == unit:
        return grouped(quantity["value"])
    return number_text(rounding(in_unit(quantity, unit), JUDGED_PLACES[unit]))


def required_unrounded(value: float, unit: str) -> str:
    """Return a limit already in `unit` as a label on a plot."""
    return number_text(round(value, JUDGED_PLACES[unit]))


def band(low: Quantity, high: Quantity, unit: str) -> str:
    """Return a low band in `unit` as numbers alone: ``250–350``."""
    return f"{required(low, unit)}–{required(high, unit, down)}"


def grouped(value: str | float) -> str:
    """Return a number with its thousands separated; digits entered as text are kept as entered."""
    if isinstance(value, str):
        whole, point, fraction = value.removeprefix("-").partition(".")
        sign = "−" if value.startswith("-") else ""
        return f"{sign}{int(whole):,}{point}{fraction}" if whole.isdigit() else value
    return number_text(value)


def entered(quantity: Quantity | None, system: System, dimension: Dimension = Dimension.PRESSURE) -> str:
    """Return a quantity as entered, followed by the rig's display unit where that is another: ``345 bar (5,004 psi)``.

    Lengths stay as entered: a bore of 13 5/8 in is a name as much as a measure.
    """
    if quantity is None:
        return ABSENT
    text = f"{grouped(quantity['value'])} {unit_label(quantity['unit'])}"
    shown = DISPLAY_UNITS[system][dimension]
    if quantity["unit"] == shown or dimension is Dimension.LENGTH:
        return text
    return f"{text} ({number_text(in_unit(quantity, shown, dimension), 0)} {unit_label(shown)})"


def duration(seconds: float | None) -> str:
    """Return a duration as ``5:00`` (minutes and seconds) or ``1:02:30``; parts of a second are cut off."""
    if seconds is None:
        return ABSENT
    hours, rest = divmod(int(seconds + 1e-6), int(_HOUR))
    minutes, left = divmod(rest, int(_MINUTE))
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


def minutes(seconds: float) -> str:
    """Return a required time: ``5 min``, or ``90 s`` where it is no whole minute."""
    whole = seconds / _MINUTE
    return f"{whole:.0f} min" if whole.is_integer() else f"{number_text(seconds)} s"


def moment(given: Moment | None) -> datetime | None:
    """Return the moment on the rig's clock."""
    return None if given is None else datetime.fromisoformat(given["local"])


def moment_text(given: Moment) -> str:
    """Return ``14 Mar 2026, 02:10 UTC−6``."""
    local = datetime.fromisoformat(given["local"])
    return f"{date_text(local)}, {local:%H:%M} {zone_label(local)}"


def utc_text(given: Moment) -> str:
    """Return ``14 Mar 2026, 08:10 UTC``."""
    utc = datetime.fromisoformat(given["utc"])
    return f"{date_text(utc)}, {utc:%H:%M} UTC"


def day_text(iso: str) -> str:
    """Return an ISO date as ``14 Mar 2026``."""
    if not iso:
        return ABSENT
    day = date.fromisoformat(iso)
    return f"{day.day} {day:%b %Y}"


def size_text(size: int) -> str:
    """Return a size in bytes as people read it."""
    if size < 1000:
        return f"{size} bytes"
    return f"{size / 1000:,.0f} kB" if size < 1_000_000 else f"{size / 1_000_000:,.1f} MB"


def gauge(quantity: Quantity | None, unit: str) -> str:
    """Return a pressure read off a gauge in `unit` as a number alone: the digits as entered where they are in it."""
    if quantity is not None and quantity["unit"] == unit and isinstance(quantity["value"], str):
        return grouped(quantity["value"])
    return held(quantity, unit)


def whole(quantity: Quantity | None, unit: str) -> str:
    """Return a predicted pressure in `unit` as a number alone: no law of gas is known to a tenth of a psi."""
    if quantity is None:
        return ABSENT
    places = JUDGED_PLACES[unit] - 1
    return number_text(nearest(in_unit(quantity, unit), places), places)


def difference(quantity: Quantity | None, unit: str) -> str:
    """Return a difference of pressures in `unit` with its sign, to the places of a prediction: ``+12``, ``−35``."""
    text = whole(quantity, unit)
    return text if text == ABSENT or text.startswith("−") or not text.strip("0.") else f"+{text}"


def amount(quantity: Quantity | None, unit: str, dimension: Dimension, places: int) -> str:
    """Return a figure of any dimension in `unit` as a number alone: as entered, or rounded to `places`."""
    if quantity is None:
        return ABSENT
    if quantity["unit"] == unit and isinstance(quantity["value"], str):
        return grouped(quantity["value"])
    return number_text(round(in_unit(quantity, unit, dimension), places))


def percent(share: float) -> str:
    """Return a share of one as ``98.7 %``."""
    return f"{number_text(share * 100, 1)} %"


def seconds_text(seconds: float | None) -> str:
    """Return a time by the watch in seconds, as a number alone."""
    return ABSENT if seconds is None else number_text(round(seconds, 1))


def worked_out(quantity: Quantity, unit: str, rounding: Rounding = up) -> str:
    """Return a limit in `unit` as a number alone: a floor rounded up, a ceiling (`rounding=down`) down."""
    return number_text(rounding(in_unit(quantity, unit), JUDGED_PLACES[unit]))
