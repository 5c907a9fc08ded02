"""The figures a plan is laid out with: each kind of test stands in one group, and none is said to be a rule's."""

from tests_app.durations import durations
from tests_app.models import What


def test_every_kind_of_test_is_made_with_something_and_takes_time():
    known = durations()
    assert all(known.of(what).minutes[what] > 0 for what in What.values)


def test_the_figures_are_common_practice():
    assert durations().source == "common practice"
