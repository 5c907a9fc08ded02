"""What runs out on a day of its own: calibrations, documents, elastomers. No edition is needed for it."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Final

from django.db.models import Q

from calcs.stated import PAPER_SOON, Stated, end_of
from equipment.models import Document, Elastomer, Installation, Instrument
from tests_app.models import PartOfSystem, What
from tests_app.queries.calibrations import calibrations_of, in_force
from tests_app.queries.deriving.derived import Derived, Requirement, Subject
from tests_app.queries.deriving.facts import RigFacts

NO_CALIBRATION: Final = "No day is on file by which its calibration is due: enter it, or retire the instrument."


def papers(facts: RigFacts) -> Iterator[Derived]:
    """Yield every paper and part that runs out: what a thing in use needs, none of what stands ashore."""
    for what, family in _FAMILIES:
        if facts.scope.asks(what):
            yield from family(facts)


def _until(plain: Derived, words: str, day: date, facts: RigFacts) -> Derived:
    stated = Stated(words, limit=end_of(day, facts.zone), soon=PAPER_SOON)
    return replace(
        plain,
        requirement=Requirement(title=words),
        stated=stated,
        history=facts.deferred(plain.what, plain.subject.key),
    )


def _calibrations(facts: RigFacts) -> Iterator[Derived]:
    day = facts.at.astimezone(facts.zone).date()
    in_use = Q(retired_on__isnull=True) | Q(retired_on__gt=day)
    rows = list(Instrument.objects.filter(in_use, facts.scope.of_instruments("pk"), rig=facts.rig))
    since_then = [one.pk for one in rows if _was_another(one, day, facts)]
    before = calibrations_of(since_then, zone=facts.zone, known_at=facts.known_at) if since_then else {}
    for instrument in rows:
        subject = Subject(
            key=f"instrument-{instrument.pk}",
            name=str(instrument),
            detail=f"{instrument.maker} {instrument.model}".strip(),
            part=PartOfSystem.INSTRUMENTS,
            instrument=instrument,
        )
        plain = Derived(what=What.CALIBRATION, subject=subject, stops_operations=False)
        stood = in_force(before.get(instrument.pk, ()), day)
        due_on = stood.due_on if stood else instrument.calibration_due_on
        if due_on is None:
            yield replace(plain, error=NO_CALIBRATION)
        else:
            yield _until(plain, "The calibration on file", due_on, facts)


def _was_another(instrument: Instrument, day: date, facts: RigFacts) -> bool:
    """Tell whether another calibration may have counted than the one on its row, which is the last entered."""
    return facts.known_at is not None or (instrument.calibrated_on is not None and instrument.calibrated_on > day)


def _documents(facts: RigFacts) -> Iterator[Derived]:
    standing = {one.component_id: one for one in facts.chosen}
    of_parts = Q(component__in=standing)
    of_instruments = facts.scope.of_instruments("instrument") & Q(
        instrument__rig=facts.rig, instrument__retired_on__isnull=True
    )
    bears = Q(expires_on__isnull=False) | Q(follows__isnull=False)
    rows = Document.objects.filter(of_parts | of_instruments, bears).select_related("component", "instrument")
    there = [document for document in rows if _was_there(document, facts)]
    renewed = {document.follows_id for document in there}
    for document in there:
        if document.expires_on is not None and document.pk not in renewed:
            plain = Derived(what=What.DOCUMENT, subject=_paper(document, standing), stops_operations=False)
            yield _until(plain, f"The {document.get_kind_display().lower()}", document.expires_on, facts)


def _was_there(document: Document, facts: RigFacts) -> bool:
    """Tell whether a document was there: from its own day on, one that renews another and has none once it was added.

    Of the first of its kind without a day nothing tells since when it was there, so it is taken to have been.
    """
    if facts.known_at is not None and document.added_at > facts.known_at:
        return False
    if document.issued_on is not None:
        return document.issued_on <= facts.at.astimezone(facts.zone).date()
    return document.follows_id is None or document.added_at <= facts.at


def _paper(document: Document, standing: dict[int, Installation]) -> Subject:
    place = standing.get(document.component_id) if document.component_id else None
    owner = document.component or document.instrument
    return Subject(
        key=f"document-{document.pk}",
        name=document.title,
        detail=f"{document.get_kind_display()} of {owner}",
        part=PartOfSystem.PAPERS,
        stack=place.position.stack if place else None,
        component=document.component,
        instrument=document.instrument,
        document=document,
    )


def _elastomers(facts: RigFacts) -> Iterator[Derived]:
    standing = {one.component_id: one for one in facts.chosen}
    day = facts.at.astimezone(facts.zone).date()
    fitted = Q(removed_on__isnull=True) | Q(removed_on__gt=day)
    rows = Elastomer.objects.filter(fitted, component__in=standing, expires_on__isnull=False, installed_on__lte=day)
    for elastomer in rows:
        assert elastomer.expires_on is not None
        place = standing[elastomer.component_id]
        subject = Subject(
            key=f"elastomer-{elastomer.pk}",
            name=f"{elastomer.part[:1].upper()}{elastomer.part[1:]}",
            detail=f"{place.position.name}, {place.component}",
            part=place.position.group,
            stack=place.position.stack,
            position=place.position,
            component=place.component,
            elastomer=elastomer,
        )
        yield _until(
            Derived(what=What.ELASTOMER, subject=subject),
            "The time the elastomer may serve",
            elastomer.expires_on,
            facts,
        )


_FAMILIES: Final = (
    (What.CALIBRATION, _calibrations),
    (What.DOCUMENT, _documents),
    (What.ELASTOMER, _elastomers),
)
