"""What the worksheet shows: the same bank by four gas laws, in SI, and what sets them apart in words."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from accounts.presentation import quantity_shown
from calcs.accumulators import Bank, UsableVolume, usable_volume
from calcs.closing import ClosingSequence, closing_sequence
from calcs.errors import InputError
from calcs.gas import Model
from calcs.units import Dimension, System
from tests_app.web.bank_fields import MODEL_TITLES, MODELS_SPOKEN
from tests_app.web.worksheet_form import Question

_TOLD: Final = (Model.BOYLE_GAUGE, Model.NITROGEN_ISOTHERMAL, Model.NITROGEN_ISENTROPIC)
_LIKE: Final = 0.005
"""Shares closer than this are the same to a reader."""


@dataclass(frozen=True)
class ByModel:
    """One gas law's answer; `reason` says why where it has none.

    Attributes:
        model: the law.
        usable: fluid and gas volumes; None where the law has no answer.
        share: usable fluid over the hand sum's; None where either is missing or nothing.
        sequence: the functions closed in order; None where none are given or the law has no answer.
        reason: why the law has no answer for the fluid.
        sequence_reason: why it has none for the sequence.
    """

    model: Model
    usable: UsableVolume | None
    share: float | None
    sequence: ClosingSequence | None
    reason: str = ""
    sequence_reason: str = ""

    @property
    def title(self) -> str:
        """Return the law as a heading."""
        return MODEL_TITLES[self.model]

    @property
    def short(self) -> tuple[str, ...]:
        """Return the functions left short, by name."""
        return tuple(step.name for step in self.sequence.steps if not step.met) if self.sequence else ()


def worked(question: Question) -> list[ByModel]:
    """Return every law's answer, the hand sum first; raises InputError where no law has one."""
    # Real nitrogen that stays warm first: what is wrong with the figures is then said by the law that asks least.
    usable_volume(question.bank, question.charged, question.minimum)
    if question.functions:
        closing_sequence(question.bank, question.charged, question.functions, question.reserve)
    found = [_by_model(question, model) for model in MODEL_TITLES]
    hand = found[0].usable
    if hand is None or not hand.per_bottle > 0:
        return found
    return [one if one.usable is None else replace(one, share=one.usable.per_bottle / hand.per_bottle) for one in found]


def bank_by(question: Question, model: Model) -> Bank:
    """Return the bank with its gas following `model`."""
    return replace(question.bank, model=model)


def _by_model(question: Question, model: Model) -> ByModel:
    bank = bank_by(question, model)
    usable, sequence, reason, sequence_reason = None, None, "", ""
    try:
        usable = usable_volume(bank, question.charged, question.minimum)
    except InputError as error:
        reason = str(error)
    try:
        if question.functions:
            sequence = closing_sequence(bank, question.charged, question.functions, question.reserve)
    except InputError as error:
        sequence_reason = str(error)
    return ByModel(model, usable, None, sequence, reason, sequence_reason)


def apart_in_words(found: Sequence[ByModel], units: System) -> list[str]:
    """Return how far the hand sum and a discharge at once lie apart, and where the truth lies."""
    by_model = {one.model: one for one in found}
    hand, slow, fast = (by_model[one] for one in _TOLD)
    if hand.usable is None or slow.usable is None or fast.usable is None or fast.share is None or slow.share is None:
        missing = ", ".join(
            MODELS_SPOKEN[one.model] for one in (hand, slow, fast) if one.usable is None or one.share is None
        )
        return [f"The span between slow and fast can't be told: no answer for {missing}."]
    promised, given, least = (_volume(one.usable.per_bottle, units) for one in (hand, slow, fast) if one.usable)
    return [
        f"The hand sum promises {promised} from a bottle; discharged at once, real nitrogen gives {least}, "
        f"{_share(fast.share)} the hand sum.",
        f"What the bank gives lies between: {least} drawn fast, before the gas can warm, and {given} drawn slowly, "
        f"{_share(slow.share)} the hand sum. A closing in earnest is nearer the fast end.",
    ]


def verdict_in_words(found: Sequence[ByModel]) -> str:
    """Return how the laws judge the sequence: all alike, or which of them part."""
    judged = [one for one in found if one.sequence]
    passing = [MODELS_SPOKEN[one.model] for one in judged if one.sequence and one.sequence.passes]
    if not judged:
        return ""
    if len(passing) == len(judged):
        return "By every gas law that has an answer the sequence passes."
    if not passing:
        return "By no gas law does the sequence pass."
    failing = [MODELS_SPOKEN[one.model] for one in judged if one.sequence and not one.sequence.passes]
    return (
        f"The sequence passes by {_listed(passing)}, and does not pass by {_listed(failing)}. "
        "A pass by one law alone proves nothing."
    )


def _share(share: float) -> str:
    percent = abs(share - 1) * 100
    if percent < _LIKE * 100:
        return "the same as"
    return f"{percent:.0f} % {'less' if share < 1 else 'more'} than"


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _volume(si: float, units: System) -> str:
    return str(quantity_shown(si, Dimension.VOLUME, units, 1))
