"""A calendar feed as text of RFC 5545.

Moments are given in UTC, so that no table of zones, and no clock time that comes twice, stands between a deadline and
its reader; the words of each entry name the rig's own clock. Nothing in it hangs on when it is asked for: as long as no
entry changes, every byte stays.
"""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from django.conf import settings
from icalendar import Calendar, Event

from tests_app.documents.alert_mails import link_to
from tests_app.models import CalendarEntry

READ_AGAIN_AFTER = timedelta(hours=1)


def calendar_text(name: str, entries: Sequence[CalendarEntry]) -> bytes:
    """Return the feed of these entries under a name."""
    calendar = Calendar()
    calendar.add("prodid", f"-//Wellhold//Deadlines {settings.WELLHOLD_VERSION}//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    # RFC 7986, section 5.1 and 5.7; what begins with X- says the same to clients older than that.
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)
    calendar.add("refresh-interval", READ_AGAIN_AFTER, parameters={"value": "DURATION"})
    for entry in entries:
        calendar.add_component(_event(entry))
    return bytes(calendar.to_ical())


def _event(entry: CalendarEntry) -> Event:
    content = entry.content
    event = Event()
    event.add("uid", f"{entry.uid}")
    event.add("sequence", entry.sequence)
    event.add("dtstamp", entry.changed_at.astimezone(UTC))
    event.add("last-modified", entry.changed_at.astimezone(UTC))
    event.add("created", entry.created_at.astimezone(UTC))
    due = datetime.fromisoformat(content["due_at"])
    # What was cancelled before entries began ahead of their deadline holds that alone.
    starts = datetime.fromisoformat(content.get("starts_at", content["due_at"]))
    event.add("dtstart", starts)
    if starts < due:  # an event of no length has no end: RFC 5545, section 3.6.1
        event.add("dtend", due)
    event.add("summary", content["summary"])
    event.add("description", content["description"])
    event.add("categories", [content["what"]])
    event.add("url", link_to("tests_app:rig", entry.rig_id))
    event.add("transp", "TRANSPARENT")
    event.add("status", "CANCELLED" if entry.cancelled_at else "CONFIRMED")
    return event
