"""What a plan is laid out with, as the address holds it: for how many days, on which, how long tests take.

Nothing of it is stored: a plan is a link that can be kept and sent. Figures left as shipped stay out of the address.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final
from urllib.parse import urlencode

from django import forms
from django.http import QueryDict

from calcs.windows import LONGEST_DAYS, Opportunity
from equipment.models import Rig
from tests_app.durations import Durations, Together
from tests_app.models import What
from tests_app.queries.planning import Estimate
from tests_app.web.due_words import WHAT_WORDS

HORIZONS: Final = (7, 14, 30, 60, 90)
"""For how many days people plan."""
USUAL_DAYS: Final = 30
MOST_OPPORTUNITIES: Final = 12
_SPARE_ROWS: Final = 2
_LONGEST_MINUTES: Final = 10_000
DAYS_CHOICES: Final = [(str(days), f"{days} days") for days in HORIZONS]


class OpportunityForm(forms.Form):
    """A day on which drilling stands still anyway, and for what."""

    on = forms.DateField(label="Day", required=False, widget=forms.DateInput(attrs={"type": "date"}))
    words = forms.CharField(
        label="What stops drilling then",
        required=False,
        max_length=60,
        widget=forms.TextInput(attrs={"placeholder": "casing run"}),
    )

    def __init__(self, *args: Any, days: Sequence[date] = (), **options: Any) -> None:
        super().__init__(*args, **options)
        self.days = days

    def clean(self) -> dict[str, Any]:
        """Refuse half a row, and a day the plan does not reach."""
        cleaned: dict[str, Any] = super().clean() or {}
        on, words = cleaned.get("on"), cleaned.get("words")
        if on and not words:
            self.add_error("words", "Say what stops drilling on that day, such as a casing run.")
        if words and not on and "on" not in self.errors:
            self.add_error("on", "Give the day of it.")
        if on and self.days and not self.days[0] <= on <= self.days[-1]:
            self.add_error("on", "The plan does not reach that day. Choose more days, or a day from today on.")
        return cleaned

    @property
    def opportunity(self) -> Opportunity | None:
        """Return the day as the plan takes it; None for an empty or refused row."""
        if not self.is_valid() or not self.cleaned_data["on"]:
            return None
        return Opportunity(self.cleaned_data["on"], self.cleaned_data["words"])


class MinutesForm(forms.Form):
    """How long tests take on this rig, in minutes, in place of the usual figures."""

    def __init__(self, *args: Any, durations: Durations, **options: Any) -> None:
        super().__init__(*args, **options)
        self.durations = durations
        for together in durations.together:
            self._add(f"set-{together.key}", "Setting up", together.set_up)
            for what, minutes in together.minutes.items():
                self._add(f"min-{what}", WHAT_WORDS[What(what)], minutes)

    def _add(self, name: str, label: str, usual: int) -> None:
        self.fields[name] = forms.IntegerField(
            label=label,
            required=False,
            min_value=0,
            max_value=_LONGEST_MINUTES,
            widget=forms.NumberInput(attrs={"class": "short", "placeholder": str(usual), "inputmode": "numeric"}),
        )

    def groups(self) -> Iterator[tuple[Together, list[forms.BoundField]]]:
        """Yield each group with the fields of what is tested in it."""
        for together in self.durations.together:
            names = [f"set-{together.key}", *(f"min-{what}" for what in together.minutes)]
            yield together, [self[name] for name in names]

    @property
    def changed(self) -> dict[str, int]:
        """Return the figures given, by field."""
        self.is_valid()
        cleaned = getattr(self, "cleaned_data", {})
        return {name: value for name, value in cleaned.items() if value is not None}

    @property
    def estimate(self) -> Estimate:
        """Return the minutes the plan reckons with: those given, else the usual."""
        usual, given = Estimate.of(self.durations), self.changed
        minutes = {what: given.get(f"min-{what}", value) for what, value in usual.minutes.items()}
        return Estimate(minutes, {key: given.get(f"set-{key}", value) for key, value in usual.set_up.items()})


@dataclass(frozen=True)
class Asked:
    """A plan as the address asks for it."""

    days: int
    rows: Sequence[OpportunityForm]
    minutes: MinutesForm

    @classmethod
    def of(cls, query: Mapping[str, Any] | QueryDict, *, rig: Rig, at: datetime, durations: Durations) -> "Asked":
        """Return what an address asks for; what can't be read is as usual, with its error at the field."""
        days = days_in(query)
        today = at.astimezone(rig.zone).date()
        reach = [today + timedelta(days=ahead) for ahead in range(days)]
        given = [n for n in range(MOST_OPPORTUNITIES) if query.get(f"{n}-on") or query.get(f"{n}-words")]
        numbers = [*given, *range(MOST_OPPORTUNITIES, MOST_OPPORTUNITIES + _SPARE_ROWS)]
        rows = [OpportunityForm(query if n in given else None, prefix=str(n), days=reach) for n in numbers]
        free = [n for n in range(MOST_OPPORTUNITIES) if n not in given]
        for row, number in zip(rows[len(given) :], free, strict=False):
            row.prefix = str(number)
        return cls(days, rows[: len(given) + min(_SPARE_ROWS, len(free))], MinutesForm(query, durations=durations))

    @property
    def opportunities(self) -> list[Opportunity]:
        """Return the days that offer themselves."""
        return [one for row in self.rows if row.is_bound and (one := row.opportunity) is not None]

    @property
    def is_right(self) -> bool:
        """Tell whether all of it could be read."""
        return self.minutes.is_valid() and all(row.is_valid() for row in self.rows if row.is_bound)

    @property
    def words(self) -> str:
        """Return in one line what the plan is laid out with."""
        days = [f"{one.words} on {one.day.day} {one.day:%b}" for one in self.opportunities]
        own = ["this rig's own times"] if self.minutes.changed else []
        return ", ".join([f"{self.days} days", *days, *own])

    @property
    def address(self) -> str:
        """Return the query that asks for just this, the usual left out."""
        asked: list[tuple[str, str]] = [] if self.days == USUAL_DAYS else [("days", str(self.days))]
        for number, one in enumerate(sorted(self.opportunities, key=lambda one: one.day)):
            asked += [(f"{number}-on", one.day.isoformat()), (f"{number}-words", one.words)]
        usual = self._usual()
        asked += [(name, str(value)) for name, value in self.minutes.changed.items() if value != usual[name]]
        return urlencode(asked)

    def _usual(self) -> dict[str, int]:
        together = self.minutes.durations.together
        found = {f"set-{one.key}": one.set_up for one in together}
        return found | {f"min-{what}": value for one in together for what, value in one.minutes.items()}


def days_in(query: Mapping[str, Any] | QueryDict) -> int:
    """Return for how many days an address asks, one of `HORIZONS`; the usual for anything else."""
    try:
        days = int(query.get("days", ""))
    except ValueError:
        return USUAL_DAYS
    return days if days in HORIZONS and days <= LONGEST_DAYS else USUAL_DAYS
