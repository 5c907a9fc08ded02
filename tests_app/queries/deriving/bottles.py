"""The bottles of banks and what was last read of them."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time

from django.db.models import OuterRef, Q, Subquery

from calcs.moments import localise
from equipment.models import Bank, Bottle, BottleState, Installation, PrechargeReading, Well
from tests_app.queries.deriving.facts import RigFacts


@dataclass(frozen=True)
class Bottles:
    """Bottles in service by bank, the latest valid reading of each, and what calls for reading them again.

    Attributes:
        by_bank: bottles in service, in their order on the rack.
        readings: latest reading by bottle.
        left: when the bank's component last left a place, by component.
        spudded: the beginning of the day the rig's present well was spudded.
    """

    by_bank: dict[int, list[Bottle]]
    readings: dict[int, PrechargeReading]
    left: dict[int, datetime]
    spudded: datetime | None

    @classmethod
    def of(cls, banks: Iterable[Bank], facts: RigFacts) -> "Bottles":
        """Read them. Four queries, however many banks."""
        found = list(banks)
        bottles = _serving([bank.pk for bank in found], facts)
        latest = [pk for one in bottles.values() for bottle in one if (pk := getattr(bottle, "latest_pk", None))]
        rounds = PrechargeReading.objects.filter(pk__in=latest).select_related("check_round")
        readings = {reading.bottle_id: reading for reading in rounds}
        components = [bank.component_id for bank in found]
        before = Installation.objects.filter(component__in=components, removed_at__lte=facts.at)
        left = {one.component_id: one.removed_at for one in before.order_by("removed_at") if one.removed_at is not None}
        return cls(bottles, readings, left, _spudded(facts))

    def serving(self, bank: Bank) -> Sequence[Bottle]:
        """Return the bottles of a bank that are in service."""
        return self.by_bank.get(bank.pk, [])


def _serving(keys: Sequence[int], facts: RigFacts) -> dict[int, list[Bottle]]:
    """Return the bottles in service with the key of their latest valid reading as `latest_pk`."""
    valid = PrechargeReading.objects.filter(_known(facts.known_at), bottle=OuterRef("pk"))
    valid = valid.filter(check_round__taken_at__lte=facts.at)
    newest = valid.order_by("-check_round__taken_at", "-pk").values("pk")[:1]
    serving = Bottle.objects.filter(bank__in=keys, state=BottleState.IN_SERVICE)
    found: dict[int, list[Bottle]] = defaultdict(list)
    for bottle in serving.annotate(latest_pk=Subquery(newest)).order_by("position_number", "pk"):
        found[bottle.bank_id].append(bottle)
    return found


def _known(known_at: datetime | None) -> Q:
    if known_at is None:
        return Q(corrected_by__isnull=True)
    uncorrected = Q(corrected_by__isnull=True) | Q(corrected_by__recorded_at__gt=known_at)
    return uncorrected & Q(recorded_at__lte=known_at)


def _spudded(facts: RigFacts) -> datetime | None:
    day = facts.at.astimezone(facts.zone).date()
    well = Well.objects.filter(rig=facts.rig, spudded_on__lte=day).order_by("spudded_on").last()
    return localise(datetime.combine(well.spudded_on, time()), facts.zone) if well and well.spudded_on else None


def named(bottles: Sequence[Bottle]) -> str:
    """Return bottles by their numbers: ``Bottles 3 and 7``."""
    numbers = [str(bottle.position_number) for bottle in bottles]
    if len(numbers) == 1:
        return f"Bottle {numbers[0]}"
    return f"Bottles {', '.join(numbers[:-1])} and {numbers[-1]}"
