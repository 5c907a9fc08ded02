"""What the address of a call asks: moments and days."""

from datetime import date, datetime

from django.utils import timezone
from django.utils.dateparse import parse_date, parse_datetime
from rest_framework.request import Request

from equipment.api.problems import Unreadable


def moment_asked(request: Request, name: str) -> datetime | None:
    """Return the moment asked for, or None without one; raises Unreadable for what is none."""
    asked = request.query_params.get(name, "")
    try:
        # A plus sign reaches us as a blank where the caller did not escape it.
        moment = parse_datetime(asked.replace(" ", "+") if "T" in asked else asked) if asked else None
    except ValueError:
        moment = None
    if asked and (moment is None or timezone.is_naive(moment) or not 1900 < moment.year < 2200):
        raise Unreadable(name, "This is no moment.", "Give one with its zone, such as 2026-03-02T12:00:00Z.")
    return moment


def day_asked(request: Request, name: str) -> date | None:
    """Return the day asked for, or None without one; raises Unreadable for what is none."""
    asked = request.query_params.get(name, "")
    try:
        day = parse_date(asked) if asked else None
    except ValueError:
        day = None
    if asked and (day is None or not 1900 < day.year < 2200):
        raise Unreadable(name, "This is no day.", "Give one such as 2026-03-02.")
    return day
