"""Calendar feeds: read by an independent parser, updated in place, closed to whoever has no right any more.

Parsed by `ical`, which shares no code with `icalendar`, the library that writes them. What must hold: RFC 5545,
sections 3.6.1 (events), 3.8.4.7 (UID), 3.8.7.3 (LAST-MODIFIED), 3.8.7.4 (SEQUENCE), 3.3.11 (escaped text).
"""

from datetime import UTC, date, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from ical.calendar import Calendar
from ical.calendar_stream import CalendarStream
from ical.event import Event, EventStatus

from equipment.actions import instruments
from equipment.errors import Refused
from tests import builders
from tests.builders_alerts import BY, DAY, DUE, Watch, a_watch
from tests_app.actions.feeds import MOST_FEEDS, keep_calendar, open_feed, revoke_feed
from tests_app.documents.calendar_file import calendar_text
from tests_app.models import FeedToken, Obligation
from tests_app.queries.calendar_content import CANCELLED_KEPT, entries_of, reader_of

AT = DUE - 10 * DAY


@pytest.fixture
def watch(db: None) -> Watch:
    watch = a_watch()
    watch.keep(AT)
    return watch


def read(watch: Watch, at=AT) -> dict[str, Event]:
    """Return the events of the rig's feed by UID, as an independent reader understands them."""
    keep_calendar(watch.rig, by=BY, at=at)
    text = calendar_text("Deadlines", entries_of([watch.rig], at=at)).decode()
    assert all(len(line.encode()) <= 75 for line in text.split("\r\n")), "RFC 5545, section 3.1"
    stream = CalendarStream.from_ics(text)
    calendar: Calendar = stream.calendars[0]
    return {event.uid: event for event in calendar.events}


def one(watch: Watch, at=AT) -> Event:
    """Return the only event there is."""
    events = read(watch, at)
    assert len(events) == 1
    return next(iter(events.values()))


def test_each_deadline_is_the_hour_that_ends_at_it_with_the_words_of_the_rig_s_clock(watch: Watch):
    event = one(watch)
    assert (event.dtstart, event.dtend) == (DUE - timedelta(hours=1), DUE)
    assert event.dtstart.utcoffset() == timedelta()
    assert event.dtstart.astimezone(watch.rig.zone).date() == date(2026, 3, 20), "the last day, not the one after"
    assert "due before midnight at the end of 20 Mar 2026, UTC−5" in event.summary
    assert watch.rig.name in event.summary
    assert event.status is EventStatus.CONFIRMED
    assert (event.sequence, event.last_modified) == (0, AT)


def test_a_feed_stays_byte_for_byte_the_same_while_nothing_changes(watch: Watch):
    texts = set()
    for hours in (0, 1, 30 * 24):
        at = AT + timedelta(hours=hours)
        keep_calendar(watch.rig, by=BY, at=at)
        texts.add(calendar_text("Deadlines", entries_of([watch.rig], at=at)))
    assert len(texts) == 1


def test_a_deadline_that_moves_is_the_same_event_with_a_higher_sequence(watch: Watch):
    before = one(watch)
    watch.calibrate(watch.instruments[0], AT + DAY, until=date(2026, 9, 20))
    watch.keep(AT + DAY)
    after = one(watch, AT + DAY)
    assert after.uid == before.uid
    assert after.dtstart.astimezone(UTC) > before.dtstart.astimezone(UTC)
    assert (after.sequence, after.last_modified) == (1, AT + DAY)


def test_what_is_no_longer_owed_is_cancelled_for_a_while_and_comes_back_as_itself(watch: Watch):
    before = one(watch)
    Obligation.objects.filter(rig=watch.rig).delete()
    cancelled = one(watch, AT + DAY)
    assert (cancelled.uid, cancelled.status, cancelled.sequence) == (before.uid, EventStatus.CANCELLED, 1)
    assert read(watch, AT + DAY + CANCELLED_KEPT + DAY) == {}
    watch.keep(AT + 40 * DAY)
    again = one(watch, AT + 40 * DAY)
    assert (again.uid, again.status, again.sequence) == (before.uid, EventStatus.CONFIRMED, 2)


def test_words_with_commas_semicolons_backslashes_and_line_ends_come_through(watch: Watch):
    instruments.amend_instrument(watch.instruments[0], serial="A,1;b\\c", maker="Quay, Sons; Co", by=BY, at=AT)
    watch.keep(AT)
    event = one(watch)
    assert "A,1;b\\c" in event.summary
    assert "Quay, Sons; Co" in event.description
    assert event.description.count("\n") >= 2


@pytest.fixture
def token(watch: Watch) -> str:
    """The token of the supervisor's feed of the rig."""
    return open_feed(watch.rig, name="Phone", by=watch.supervisor, at=AT)[1]


def feed(token: str, **headers: str) -> object:
    return Client().get(reverse("tests_app:feed", args=[token]), headers=headers)


def test_who_has_the_address_reads_it_without_signing_in_and_asks_cheaply_again(token: str):
    answer = feed(token)
    assert (answer.status_code, answer["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    assert answer.content.startswith(b"BEGIN:VCALENDAR\r\n")
    assert FeedToken.objects.get().last_used_at is not None
    again = feed(token, if_none_match=answer["ETag"])
    assert (again.status_code, again.content) == (304, b"")


def test_a_wrong_or_revoked_address_leads_nowhere(token: str, watch: Watch):
    assert feed(token[:-1] + ("A" if token[-1] != "A" else "B")).status_code == 404
    assert feed("x").status_code == 404
    revoke_feed(FeedToken.objects.get(), by=watch.supervisor, at=AT)
    assert feed(token).status_code == 404


def test_who_left_the_rig_or_whose_account_is_closed_reads_nothing_any_more(token: str, watch: Watch):
    watch.supervisor.is_active = False
    watch.supervisor.save()
    assert feed(token).status_code == 404
    watch.supervisor.is_active = True
    watch.supervisor.save()
    assert feed(token).status_code == 200
    watch.supervisor.crew_roles.all().delete()
    assert feed(token).status_code == 404


def test_a_person_s_own_feed_follows_the_rigs_they_are_on(watch: Watch):
    other = builders.a_rig()
    _, token = open_feed(None, name="Desk", by=watch.supervisor, at=AT)
    assert [rig.pk for rig in reader_of(token).rigs] == [watch.rig.pk]
    builders.a_crew_member(other, watch.supervisor, role="auditor")
    assert {rig.pk for rig in reader_of(token).rigs} == {watch.rig.pk, other.pk}


def test_the_token_itself_is_kept_nowhere(token: str):
    kept = FeedToken.objects.get()
    assert token not in str(vars(kept))
    assert len(token) >= 43, "256 bits"


def test_nobody_opens_feeds_without_end_or_without_a_name(watch: Watch):
    with pytest.raises(Refused) as refused:
        open_feed(watch.rig, name="  ", by=watch.supervisor, at=AT)
    assert refused.value.field == "name"
    for number in range(MOST_FEEDS):
        open_feed(watch.rig, name=f"Phone {number}", by=watch.supervisor, at=AT)
    with pytest.raises(Refused, match="Revoke"):
        open_feed(watch.rig, name="One more", by=watch.supervisor, at=AT)
