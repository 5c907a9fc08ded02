"""What of a test does not fail it, but must not be overlooked: pressures under the MASP, falls that did not settle.

The MASP is the highest pressure the well can bring to the surface. An annular is tested to a share of its rating
as the rules allow, which may lie under it; a ram or valve rated under it is not fit for the section.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from calcs.units import Dimension, to_si
from calcs.verdicts import Wording
from equipment.models import ComponentKind, HoleSection, Rig
from tests_app.models import Record, Step
from tests_app.queries.requirements import Need
from tests_app.queries.set_aside import over_pressured_by
from tests_app.queries.verdicts import apart_of, notes_of, over_rating_of, wording_for


@dataclass(frozen=True)
class Alarm:
    """One thing to look at: the step it is about, what it is in words, and what to do."""

    step: int
    text: str
    remedy: str


def alarms_of(record: Record, steps: Iterable[Step]) -> list[Alarm]:
    """Return the alarms of a test, each once, in the order of its steps."""
    found: dict[str, Alarm] = {}
    for step in steps:
        for text in _below_masp_in(step, record):
            found.setdefault(text, Alarm(step.order, text, "See that what stands there is fit for the section."))
        for note in notes_of(step.verdict):
            alarm = Alarm(step.order, f"{step}: {note}", "Find the leak, or say in the remarks why it is none.")
            found.setdefault(alarm.text, alarm)
        apart = apart_of(step.verdict)
        if apart:
            found[apart] = Alarm(step.order, f"{step}: {apart}", "Say in the remarks which line-up it stood on.")
    for order, text in over_pressured_by(record):
        found.setdefault(text, Alarm(order, text, "Inspect what stood under it before it is relied on."))
    return list(found.values())


def over_rating(steps: Iterable[Step]) -> Alarm | None:
    """Return the advice on all steps that went a little over the lowest rating exposed; None where none did."""
    over = [step for step in steps if over_rating_of(step.verdict)]
    if not over:
        return None
    named = ", ".join(str(step.order) for step in over)
    text = f"The lowest rating exposed was passed, by no more than is allowed, in step {named}."
    return Alarm(over[0].order, text, "Pump no further over the rating than it takes to hold at it.")


def below_masp_of_needs(needs: Iterable[Need], section: HoleSection | None, rig: Rig) -> list[str]:
    """Return in words which elements of a step to be are tested to, or rated, less than the section's MASP."""
    if section is None or section.masp is None:
        return []
    masp, wording = float(section.masp.si), wording_for(rig)
    words = []
    for need in needs:
        component = need.standing.component
        assert component is not None  # `required_for` refuses an empty position
        rated = float(component.rated_working_pressure.si)
        name = need.standing.position.name
        words.append(_below_masp(name, component.kind, need.required.high_gauge, rated, masp, wording))
    return [text for text in words if text]


def _below_masp_in(step: Step, record: Record) -> list[str]:
    section = record.section
    if section is None or section.masp is None:
        return []
    masp, wording = float(section.masp.si), wording_for(record.rig)
    words = []
    for line in step.lines.all():
        kept: Mapping[str, Any] = line.component_as_tested
        rating = kept["rated_working_pressure"]
        rated = to_si(float(rating["value"]), rating["unit"], Dimension.PRESSURE)
        words.append(_below_masp(kept["position"], kept["kind"], line.required_high.si, rated, masp, wording))
    return [text for text in words if text]


def _below_masp(name: str, kind: str, tested: float, rated: float, masp: float, wording: Wording) -> str:
    """Return what lies under the MASP, in words; "" where nothing does. Pressures gauge in Pa."""
    said = f"the MASP of {wording.pressure(masp)}"
    if kind == ComponentKind.ANNULAR:
        if tested >= masp and rated >= masp:
            return ""
        share = f"{tested / rated * 100:.0f} % of its RWP of {wording.pressure(rated)}"
        return f"{name}: tested to {wording.pressure(tested, beside=masp)}, below {said} ({share}, as its rule asks)."
    if rated < masp:
        return f"{name}: its RWP of {wording.pressure(rated, beside=masp)} is below {said}: not fit for the section."
    if tested < masp:
        return f"{name}: tested to {wording.pressure(tested, beside=masp)}, below {said}: not proved for the section."
    return ""
