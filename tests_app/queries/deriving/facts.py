"""What is read of a rig before anything owed is worked out: each table once, and no more of it than is asked for."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Final, cast
from zoneinfo import ZoneInfo

from django.db.models import Q

from calcs.recurrence import Deferred, Event
from calcs.rules import Edition, Occasion, StackKind
from calcs.schedule_rules import ScheduledRule, rules_on
from equipment.models import HoleSection, Installation, Rig, ServiceEvent
from equipment.queries.stacks import Standing, standing_at
from equipment.queries.wells import section_drilled
from tests_app.errors import NoRules
from tests_app.models import Barrier, BroughtTest, Completion, Deferral, RecordKind, What
from tests_app.queries.brought import confirmed_tests
from tests_app.queries.completed import by_obligation, on_components, standing_work
from tests_app.queries.deriving.proofs import ByComponent, Proof, Proofs, pressure_proofs, since_then
from tests_app.queries.deriving.scope import EVERYTHING, Scope
from tests_app.queries.functioned import Functioned, Subject, functioned
from tests_app.queries.requirements import Circumstances
from tests_app.queries.rules_followed import Followed, edition_among, edition_at, rules_followed
from tests_app.queries.waiting import deferrals_of
from trail.models import TrailEntry

_SHARED: Final = frozenset(
    {
        "zone",
        "edition",
        "_entered_later",
        "installed",
        "section",
        "sections",
        "work",
        "completions",
        "component_work",
        "work_done",
    }
    | {"deferrals", "around", "_rules", "brought"}
)
"""Facts that do not hang on how far back tests are asked for."""
_OF_NO_MOMENT: Final = frozenset(
    {
        "zone",
        "followed",
        "sections",
        "completions",
        "component_work",
        "work_done",
        "deferrals",
        "ever_installed",
        "work",
        "proofs",
    }
    | {"pressed", "passed_pressure_tests", "functioned"}
)
"""Facts that hang on no moment, where they are read for all of them."""
_ENTERED: Final = ("component.installed", "service.recorded", "document.attached", "elastomer.fitted")
_REMOVED: Final = "component.removed"


@dataclass(frozen=True)
class RigFacts:
    """A rig as of a moment, for one question. What not every question needs is read when it is first asked for.

    Attributes:
        rig: the rig.
        at: the moment the question is asked for.
        known_at: only what was entered by then; None for all that is known.
        scope: what is asked for.
        since: tests that were over and signed before then are not asked for; None for all.
        over_time: whether the same rig is asked for at several moments: what hangs on none is read once, and whole.
    """

    rig: Rig
    at: datetime
    known_at: datetime | None
    scope: Scope
    since: datetime | None = None
    over_time: bool = False

    def at_another(self, at: datetime, scope: Scope) -> "RigFacts":
        """Return the facts of another moment, where several are asked for; what was read is not read again."""
        assert self.over_time
        other = RigFacts(self.rig, at, self.known_at, scope, self.since, over_time=True)
        other.__dict__.update({name: self.__dict__[name] for name in _OF_NO_MOMENT & self.__dict__.keys()})
        return other

    def with_older(self, scope: Scope) -> "RigFacts":
        """Return the same facts for a part of the scope, tests of any age with it; what was read is not read again."""
        wider = RigFacts(self.rig, self.at, self.known_at, scope)
        wider.__dict__.update({name: self.__dict__[name] for name in _SHARED & self.__dict__.keys()})
        return wider

    @cached_property
    def zone(self) -> ZoneInfo:
        """Return the rig's zone."""
        return self.rig.zone

    @cached_property
    def edition(self) -> Edition | NoRules:
        """Return the rules the rig followed at the moment, or why there are none."""
        try:
            if self.over_time:
                return edition_among(self.followed, self.rig, at=self.at)
            return edition_at(self.rig, at=self.at)
        except NoRules as none:
            return none

    @cached_property
    def followed(self) -> Sequence[Followed]:
        """Return every choice of rules the rig made."""
        return rules_followed(self.rig)

    @cached_property
    def _rules(self) -> dict[tuple[str, str, str, str], Sequence[ScheduledRule]]:
        return {}

    def rules_on(self, task: str, what: str, *, stack: str, position: str = "") -> Sequence[ScheduledRule]:
        """Return the scheduled rules for a task on one thing; what stands often on a rig is looked up once."""
        key = (task, what, stack, position)
        if key not in self._rules:
            assert isinstance(self.edition, Edition)  # without rules nobody asks
            self._rules[key] = rules_on(self.edition, task, what, stack=cast(StackKind, stack), position=position)
        return self._rules[key]

    @cached_property
    def _entered_later(self) -> dict[str, set[int]]:
        """Return by table the keys of rows that were entered after the moment known at."""
        if self.known_at is None:
            return {}
        later = TrailEntry.objects.filter(rig_number=self.rig.pk, at__gt=self.known_at, event__in=(*_ENTERED, _REMOVED))
        found: dict[str, set[int]] = defaultdict(set)
        for event, table, key in later.values_list("event", "subject_type", "subject_id"):
            found[event if event == _REMOVED else table].add(key)
        return found

    def was_known(self, row: Installation | ServiceEvent) -> bool:
        """Tell whether the row was on file at the moment known at."""
        return row.pk not in self._entered_later.get(row._meta.label_lower, ())

    @cached_property
    def installed(self) -> list[Installation]:
        """Return all that stood on the rig at the moment, stack by stack, top first."""
        if self.over_time:
            return [one for one in self.ever_installed if one.stood_at(self.at)]
        standing = standing_at(self.at)
        removed_later = self._entered_later.get(_REMOVED)
        if removed_later:
            standing |= Q(pk__in=removed_later, installed_at__lte=self.at)
        return self._installations(standing)

    @cached_property
    def ever_installed(self) -> list[Installation]:
        """Return all that ever stood on the rig, in the same order."""
        return self._installations(Q())

    def _installations(self, standing: Q) -> list[Installation]:
        rows = Installation.objects.filter(standing, position__stack__rig=self.rig)
        rows = rows.select_related("component", "position__stack", "position__outlet_of")
        found = [one for one in rows.order_by("position__stack", "position__order") if self.was_known(one)]
        for one in found:
            one.position.stack.rig = self.rig
            one.component.rig = self.rig
        return found

    @cached_property
    def chosen(self) -> list[Installation]:
        """Return what stands on the rig and is asked for."""
        return [one for one in self.installed if self.scope.has_component(one.component_id)]

    @cached_property
    def section(self) -> HoleSection | None:
        """Return the hole section being drilled."""
        if not self.over_time:
            return section_drilled(self.rig, at=self.at)
        begun = [(one.begins_at, one.order, one) for one in self.sections.values() if one.begins_at]
        return max((one for one in begun if one[0] <= self.at), key=lambda one: one[:2], default=(None,))[-1]

    @cached_property
    def sections(self) -> Mapping[int, HoleSection]:
        """Return every hole section of the rig, by key."""
        rows = HoleSection.objects.filter(well__rig=self.rig).select_related("well")
        return {section.pk: section for section in rows}

    @cached_property
    def work(self) -> Mapping[int, Sequence[ServiceEvent]]:
        """Return the work on the components asked for, by component."""
        found: dict[int, list[ServiceEvent]] = defaultdict(list)
        placed = self.ever_installed if self.over_time else self.chosen
        for event in ServiceEvent.objects.filter(component__in={one.component_id for one in placed}):
            if self.was_known(event):
                found[event.component_id].append(event)
        return found

    @cached_property
    def proofs(self) -> Proofs:
        """Return the rig's records."""
        return Proofs.of(self.rig, known_at=self.known_at, since=self.since)

    @cached_property
    def pressed(self) -> ByComponent:
        """Return what the pressure tests proved of the components asked for."""
        scope = EVERYTHING if self.over_time else self.scope
        return pressure_proofs(self.rig, scope, self.proofs, since=self.since)

    @cached_property
    def functioned(self) -> Mapping[Subject, Sequence[Functioned]]:
        """Return what each function test says of each component and control item, whatever is asked for."""
        return functioned(Q(record__rig=self.rig) & since_then("record", self.since))

    @cached_property
    def brought(self) -> Mapping[int, Sequence[BroughtTest]]:
        """Return by component the tests made elsewhere that somebody confirmed by their paper."""
        return confirmed_tests(self.rig, {one.component_id for one in self.chosen}, known_at=self.known_at)

    @cached_property
    def passed_pressure_tests(self) -> Sequence[Proof]:
        """Return the sealed pressure tests that passed, the corrected ones left out."""
        return [
            proof
            for proof in self.proofs.records.values()
            if proof.kind == RecordKind.PRESSURE
            and proof.sealed_at is not None
            and proof.passed
            and not self.proofs.is_corrected(proof)
        ]

    @cached_property
    def reasons(self) -> Mapping[tuple[int, str], datetime]:
        """Return by stack and reason when the last pressure test made for that reason began, drafts included."""
        found: dict[tuple[int, str], datetime] = {}
        for proof in self.proofs.records.values():
            if proof.reason and proof.started_at <= self.at:
                key = (proof.stack_id, proof.reason)
                found[key] = max(proof.started_at, found.get(key, proof.started_at))
        return found

    @cached_property
    def work_done(self) -> Sequence[Completion]:
        """Return work that renews, the first concluded first."""
        return standing_work(self.rig, known_at=self.known_at)

    @cached_property
    def completions(self) -> Mapping[str, Sequence[Completion]]:
        """Return work that renews, by the obligation it renews."""
        return by_obligation(self.work_done)

    @cached_property
    def component_work(self) -> Mapping[tuple[str, int], Sequence[Completion]]:
        """Return the same by what was done and the component, which may have stood elsewhere then."""
        return on_components(self.work_done)

    @cached_property
    def deferrals(self) -> Mapping[str, Sequence[Deferral]]:
        """Return the deferrals that count, by obligation."""
        return deferrals_of(self.rig, self.known_at)

    def deferred(self, what: What, subject_key: str) -> tuple[Event, ...]:
        """Return the deferrals of an obligation, as its date reads them."""
        rows = self.deferrals.get(f"{what.value}/{subject_key}", ())
        return tuple(Deferred(row.granted_at, row.until) for row in rows)

    @cached_property
    def around(self) -> Mapping[int, Circumstances]:
        """Return by stack the circumstances of the usual test: in the wellhead against a plug, for this section."""
        if isinstance(self.edition, NoRules):
            return {}
        found: dict[int, Circumstances] = {}
        for stack in {one.position.stack_id: one.position.stack for one in self.installed}.values():
            here = [one for one in self.installed if one.position.stack_id == stack.pk]
            found[stack.pk] = Circumstances(
                edition=self.edition,
                stack=stack,
                standings=tuple(Standing(one.position, one.component, one) for one in here),
                section=self.section,
                barrier=Barrier.PLUG,
                occasion=Occasion.INTERVAL,
                recorded=False,
            )
        return found
