"""A plan in words: when a window is, how long it takes, what it is made with."""

from datetime import date

from tests_app.queries.planning import Ahead, PlannedWindow


def day_words(day: date) -> str:
    """Return a day with its weekday: ``Thu 10 Dec 2026``.

    >>> day_words(date(2026, 12, 10))
    'Thu 10 Dec 2026'
    """
    return f"{day:%a} {day.day} {day:%b %Y}"


def hours_words(minutes: float) -> str:
    """Return a time in hours and minutes, to five minutes: no estimate is better.

    >>> hours_words(480), hours_words(95), hours_words(20)
    ('8 h', '1 h 35 min', '20 min')
    """
    hours, rest = divmod(round(minutes / 5) * 5, 60)
    parts = [f"{hours} h" if hours else "", f"{rest} min" if rest or not hours else ""]
    return " ".join(filter(None, parts))


def when_words(window: PlannedWindow) -> str:
    """Return when a window is: ``Test on day 12, Thu 10 Dec 2026, with the casing run``."""
    day = "Test today" if window.window.ahead == 0 else f"Test on day {window.window.ahead}"
    others = window.window.with_words
    along = f", with the {' and the '.join(others)}" if others else ""
    return f"{day}, {day_words(window.window.day)}{along}"


def renewed_words(count: int) -> str:
    """Return how many items are renewed on a day."""
    return "this item renews" if count == 1 else f"these {count} items renew"


def summary_words(ahead: Ahead, days: int) -> str:
    """Return a plan in one sentence."""
    if not ahead.windows:
        return f"Nothing runs out in the next {days} days: no test is needed."
    count = len({window.window.day for window in ahead.windows})
    kept = "One day of testing keeps" if count == 1 else f"{count} days of testing keep"
    running = len(ahead.running_out)
    out = "one item runs out or is owed already" if running == 1 else f"{running} items run out or are owed already"
    return f"{kept} everything in date for the next {days} days. If nothing is tested, {out}."
