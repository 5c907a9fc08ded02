"""What people do with alerts stands in the trail; what the timetable does stands in notices and messages themselves.

A sweep each minute would bury the trail; and each notice and message says itself when it was made, sent and why not.
"""

from collections.abc import Callable

import pytest

from tests.builders_alerts import BY, DUE, HOUR, Watch, a_watch
from tests_app.actions import alert_choices, answering, digests, feeds, sending, sweeping
from tests_app.models import FeedToken, Message, Notice
from trail.models import TrailEntry


@pytest.fixture
def watch(db: None) -> Watch:
    watch = a_watch(hook_url="https://tower.example/", hook_secret="sixteen characters or more")
    watch.sweep(DUE)
    feeds.open_feed(watch.rig, name="Phone", by=watch.supervisor, at=DUE)
    return watch


Act = Callable[[Watch], object]
BY_PEOPLE: dict[str, Act] = {
    "alerts.chosen": lambda watch: alert_choices.choose_alerts(
        watch.rig, people=[watch.manager], by=watch.manager, at=DUE + HOUR
    ),
    "notice.acknowledged": lambda watch: answering.acknowledge(
        Notice.objects.get(), note="Being done.", by=watch.manager, at=DUE + HOUR
    ),
    "feed.opened": lambda watch: feeds.open_feed(watch.rig, name="Desk", by=watch.manager, at=DUE + HOUR),
    "feed.revoked": lambda watch: feeds.revoke_feed(FeedToken.objects.get(), by=watch.manager, at=DUE + HOUR),
    "message.retried": lambda watch: sending.retry(Message.objects.first(), by=watch.manager, at=DUE + HOUR),
    "message.trial-sent": lambda watch: sending.send_trial(watch.rig, person=None, by=watch.manager, at=DUE + HOUR),
}
BY_ITSELF: dict[str, Act] = {
    "sweep": lambda watch: sweeping.sweep(watch.rig, by=BY, at=DUE + HOUR),
    "escalate": lambda watch: sweeping.escalate(watch.rig, by=BY, at=DUE + 20 * HOUR),
    "failed sweep": lambda watch: sweeping.note_failed_sweep(watch.rig, error="Gone", by=BY, at=DUE + HOUR),
    "digests": lambda watch: digests.make_digests(watch.rig, by=BY, at=DUE + 12 * HOUR),
    "send": lambda watch: sending.deliver(Message.objects.filter(channel="mail").get().pk, by=BY, at=DUE + HOUR),
    "seen": lambda watch: answering.mark_seen([Notice.objects.get().pk], by=watch.supervisor, at=DUE + HOUR),
    "calendar": lambda watch: feeds.keep_calendar(watch.rig, by=BY, at=DUE + HOUR),
    "feed read": lambda watch: feeds.note_use(FeedToken.objects.get(), by=watch.supervisor, at=DUE + HOUR),
}


@pytest.mark.parametrize("event", sorted(BY_PEOPLE))
def test_what_people_do_is_one_entry_of_who_when_and_on_which_rig(watch: Watch, event: str):
    before = set(TrailEntry.objects.values_list("pk", flat=True))
    BY_PEOPLE[event](watch)
    (entry,) = TrailEntry.objects.exclude(pk__in=before)
    assert (entry.event, entry.actor, entry.at, entry.rig_number) == (event, watch.manager, DUE + HOUR, watch.rig.pk)


@pytest.mark.parametrize("name", sorted(BY_ITSELF))
def test_what_the_timetable_does_writes_none(watch: Watch, name: str):
    before = TrailEntry.objects.count()
    BY_ITSELF[name](watch)
    assert TrailEntry.objects.count() == before
