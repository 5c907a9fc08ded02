"""What the sweep notices, tells and closes: each stage once, in an outage the most pressing, in quiet hours later."""

from datetime import date, datetime, time, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from equipment.errors import Refused
from tests.builders_alerts import BY, DAY, DUE, HOUR, Watch, a_watch
from tests_app.actions.answering import acknowledge, mark_seen
from tests_app.actions.digests import make_digests
from tests_app.actions.sending import deliver
from tests_app.actions.sweeping import escalate, sweep
from tests_app.models import Channel, Closing, Delivery, Digest, Message, Notice, Purpose, SweepMark
from tests_app.queries.alerts import is_late, own_notices, unseen_count

MINUTE = timedelta(minutes=1)


@pytest.fixture
def watch(db: None) -> Watch:
    return a_watch()


def told(purpose: str = Purpose.NOTICE) -> list[tuple[str, str]]:
    """Who was told by what, in order."""
    found = Delivery.objects.filter(purpose=purpose).order_by("pk")
    return [(one.person.username if one.person else "hook", one.channel) for one in found.select_related("person")]


def test_each_stage_is_noticed_at_its_minute_and_once(watch: Watch):
    moments = [DUE - 3 * DAY, DUE - DAY, DUE, DUE + DAY, DUE + 2 * DAY]
    for moment in moments:
        before = len(watch.stages())
        assert watch.sweep(moment - MINUTE).raised == 0
        assert watch.sweep(moment).raised == 1
        assert watch.sweep(moment + MINUTE).raised == 0
        assert len(watch.stages()) == before + 1
    assert watch.stages() == ["before-72h", "before-24h", "overdue", "overdue-day-1", "overdue-day-2"]


def test_days_overdue_follow_the_rig_s_clock_over_the_change_to_winter_time(db: None):
    watch = a_watch()
    instrument = watch.instruments[0]
    watch.calibrate(instrument, DUE, until=date(2026, 10, 30))
    ends = datetime(2026, 10, 31, tzinfo=watch.rig.zone)
    watch.sweep(ends)
    day_later = datetime(2026, 11, 1, tzinfo=watch.rig.zone)
    two_later = datetime(2026, 11, 2, tzinfo=watch.rig.zone)  # 25 hours after that
    for moment, stage in [(day_later, "overdue-day-1"), (two_later, "overdue-day-2")]:
        assert watch.sweep(moment.astimezone(DUE.tzinfo) - MINUTE).raised == 0
        watch.sweep(moment)
        assert watch.stages()[-1] == stage


def test_two_sweeps_of_one_minute_make_what_one_would(watch: Watch):
    watch.sweep(DUE)
    first = (Notice.objects.count(), Delivery.objects.count(), Message.objects.count())
    sweep(watch.rig, by=BY, at=DUE)
    assert (Notice.objects.count(), Delivery.objects.count(), Message.objects.count()) == first == (1, 2, 1)


def test_the_database_itself_refuses_a_second_notice_of_a_stage_and_a_second_telling(watch: Watch):
    watch.sweep(DUE)
    notice = Notice.objects.get()
    told_already = Delivery.objects.filter(channel=Channel.APP).get()
    with pytest.raises(IntegrityError), transaction.atomic():
        Notice.objects.create(
            rig=watch.rig,
            obligation_key=notice.obligation_key,
            what=notice.what,
            stage=notice.stage,
            occasion=notice.occasion,
            hours_past=0,
            subject="Again",
            headline="Again",
            created_at=DUE,
        )
    with pytest.raises(IntegrityError), transaction.atomic():
        Delivery.objects.create(
            notice=notice, person=told_already.person, channel=Channel.APP, purpose=told_already.purpose
        )


def test_after_an_outage_the_most_pressing_stage_is_told_and_the_passed_ones_are_named(watch: Watch):
    watch.sweep(DUE - 3 * DAY)
    watch.sweep(DUE + 2 * DAY + HOUR)
    assert watch.stages() == ["before-72h", "overdue-day-2"]
    last = Notice.objects.order_by("pk").last()
    assert last is not None
    assert last.passed_over == ["24 hours before", "due date", "overdue for 1 day"]
    assert watch.sweep(DUE + 2 * DAY + 2 * HOUR).raised == 0


def test_an_hour_without_a_sweep_loses_no_stage_that_fell_into_it(watch: Watch):
    watch.sweep(DUE - 30 * MINUTE)
    assert watch.sweep(DUE + 30 * MINUTE).raised == 1
    assert watch.stages()[-1] == "overdue"


def test_fourteen_things_of_one_midnight_are_one_mail(db: None):
    watch = a_watch(instruments=14)
    assert watch.sweep(DUE).raised == 14
    assert Message.objects.count() == 1
    assert Message.objects.get().deliveries.count() == 14
    assert unseen_count(watch.supervisor) == 14


def test_what_is_renewed_closes_its_notices_and_says_so(watch: Watch):
    watch.sweep(DUE - DAY)
    watch.calibrate(watch.instruments[0], DUE - 20 * HOUR)
    mark = watch.sweep(DUE - 19 * HOUR)
    assert (mark.raised, mark.closed) == (0, 1)
    closed = Notice.objects.get()
    assert (closed.closed_at, closed.get_closed_because_display()) == (DUE - 19 * HOUR, "Renewed")


def test_what_stopped_being_owed_closes_its_notices(watch: Watch):
    watch.sweep(DUE)
    watch.instruments[0].retired_on = date(2026, 3, 1)
    watch.instruments[0].save()
    watch.sweep(DUE + MINUTE)
    assert Notice.objects.get().closed_because == Closing.GONE


def test_a_later_stage_takes_the_place_of_an_earlier_one_so_that_one_thing_stands_open_once(watch: Watch):
    for moment in (DUE - 3 * DAY, DUE - DAY, DUE):
        watch.sweep(moment)
    assert [one.stage for one in Notice.objects.filter(closed_at=None)] == ["overdue"]
    assert set(Notice.objects.exclude(closed_at=None).values_list("closed_because", flat=True)) == {Closing.OVERTAKEN}


def test_what_waits_for_the_end_of_quiet_hours_is_one_mail_then_and_what_is_overdue_does_not_wait(db: None):
    watch = a_watch(instruments=2, quiet_from=time(22), quiet_until=time(6), long_hours_before=[72, 71])
    watch.sweep(DUE - 72 * HOUR)  # midnight on the rig
    watch.sweep(DUE - 71 * HOUR)
    message = Message.objects.get()
    assert message.next_try_at == datetime(2026, 3, 18, 6, tzinfo=watch.rig.zone)
    assert message.deliveries.count() == 4
    assert unseen_count(watch.supervisor) == 4
    watch.sweep(DUE)
    assert Message.objects.order_by("pk").last().next_try_at == DUE


def test_a_rig_may_let_even_what_is_overdue_wait(db: None):
    watch = a_watch(quiet_from=time(22), quiet_until=time(6), urgent_in_quiet=False)
    watch.sweep(DUE)
    assert Message.objects.get().next_try_at == datetime(2026, 3, 21, 6, tzinfo=watch.rig.zone)


def test_who_has_no_mail_address_is_told_in_the_app(watch: Watch):
    watch.supervisor.email = ""
    watch.supervisor.save()
    watch.sweep(DUE)
    assert told() == [(watch.supervisor.username, "app")]


def test_acknowledging_ends_the_repeats_of_that_date_and_nothing_else(watch: Watch):
    watch.sweep(DUE)
    notice = Notice.objects.get()
    acknowledge(notice, note="Sent ashore, back on Friday.", by=watch.supervisor, at=DUE + HOUR)
    assert watch.sweep(DUE + DAY).raised == 0
    notice.refresh_from_db()
    assert (notice.closed_at, notice.note) == (None, "Sent ashore, back on Friday.")
    with pytest.raises(Refused, match="already"):
        acknowledge(notice, note="Me too", by=watch.manager, at=DUE + DAY)
    watch.calibrate(watch.instruments[0], DUE + 2 * DAY, until=date(2026, 3, 24))
    assert watch.sweep(DUE + 4 * DAY).raised == 1


def test_acknowledging_before_the_date_does_not_keep_it_from_being_told(watch: Watch):
    watch.sweep(DUE - DAY)
    acknowledge(Notice.objects.get(), note="On the list for tomorrow.", by=watch.supervisor, at=DUE - 20 * HOUR)
    assert watch.sweep(DUE).raised == 1


@pytest.mark.parametrize("note", ["", "   ", "x" * 1001])
def test_a_note_that_says_nothing_or_a_novel_is_refused(watch: Watch, note: str):
    watch.sweep(DUE)
    with pytest.raises(Refused) as refused:
        acknowledge(Notice.objects.get(), note=note, by=watch.supervisor, at=DUE)
    assert refused.value.field == "note"


def test_what_nobody_acknowledged_in_time_goes_to_the_rig_manager_once(db: None):
    watch = a_watch(escalate_after_hours=4, escalate_from_hours=24)
    watch.sweep(DUE - 3 * DAY)
    assert escalate(watch.rig, by=BY, at=DUE - 2 * DAY) == 0, "three days before is nobody's fault yet"
    watch.sweep(DUE)
    assert escalate(watch.rig, by=BY, at=DUE + 4 * HOUR - MINUTE) == 0
    assert escalate(watch.rig, by=BY, at=DUE + 4 * HOUR) == 1
    assert escalate(watch.rig, by=BY, at=DUE + 5 * HOUR) == 0
    assert told(Purpose.ESCALATION) == [(watch.manager.username, "app"), (watch.manager.username, "mail")]


def test_what_is_acknowledged_is_not_escalated(db: None):
    watch = a_watch(escalate_after_hours=4)
    watch.sweep(DUE)
    acknowledge(Notice.objects.get(), note="Being done.", by=watch.supervisor, at=DUE + HOUR)
    assert escalate(watch.rig, by=BY, at=DUE + 5 * HOUR) == 0


def test_a_digest_goes_once_a_day_at_its_hour_on_the_rig_s_clock(db: None):
    watch = a_watch(digest_at=time(6))
    six = datetime(2026, 3, 19, 6, tzinfo=watch.rig.zone)
    assert make_digests(watch.rig, by=BY, at=six - MINUTE) == 0
    assert make_digests(watch.rig, by=BY, at=six) == 1
    assert make_digests(watch.rig, by=BY, at=six + 9 * HOUR) == 0
    assert make_digests(watch.rig, by=BY, at=six + 3 * DAY) == 1, "missed days are not made up for"
    assert [str(one.day) for one in Digest.objects.order_by("day")] == ["2026-03-19", "2026-03-22"]


def test_a_person_sees_only_what_was_told_to_them_on_rigs_they_are_still_on(watch: Watch):
    watch.sweep(DUE)
    assert unseen_count(watch.supervisor) == 1
    assert unseen_count(watch.manager) == 0
    notice = own_notices(watch.supervisor).get()
    assert mark_seen([notice.pk], by=watch.supervisor, at=DUE + HOUR) == 1
    assert unseen_count(watch.supervisor) == 0
    watch.supervisor.crew_roles.all().delete()
    assert not own_notices(watch.supervisor).exists()


def test_a_message_to_somebody_who_left_the_rig_is_dropped(watch: Watch, mailoutbox: list[object]):
    watch.sweep(DUE)
    watch.supervisor.crew_roles.all().delete()
    deliver(Message.objects.get().pk, by=BY, at=DUE)
    assert Message.objects.get().dropped_at == DUE
    assert mailoutbox == []


def test_the_mark_says_when_the_sweep_last_looked_and_is_late_after_five_minutes(watch: Watch):
    assert is_late(None, DUE)
    mark = watch.sweep(DUE)
    assert (mark.swept_at, mark.raised) == (DUE, 1)
    assert not is_late(mark, DUE + 5 * MINUTE)
    assert is_late(mark, DUE + 5 * MINUTE + timedelta(seconds=1))


def test_a_sweep_reads_a_rig_in_as_many_queries_for_two_things_as_for_twenty(
    db: None, django_assert_num_queries: object
):
    counts = []
    for number in (2, 20):
        watch = a_watch(instruments=number)
        watch.sweep(DUE)
        with CaptureQueriesContext(connection) as queries:
            sweep(watch.rig, by=BY, at=DUE + MINUTE)
        counts.append(len(queries))
    assert counts[0] == counts[1]
    assert SweepMark.objects.count() == 2
