"""Forms of plans of line-ups: for which test, what it has to prove, and one line-up by hand."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, cast

from django import forms
from django.http import QueryDict

from calcs.lineups import Element
from calcs.units import Dimension
from equipment.models import HoleSection, PositionGroup, Stack
from equipment.web.fields import QuantityFormField
from tests_app.actions.line_up_steps import StepSpec
from tests_app.documents.line_up_facts import pipe_words
from tests_app.models import Barrier, LineUpStep, TestReason
from tests_app.queries.due_items import DueItem
from tests_app.queries.line_up_needs import Askable
from tests_app.web.heading_form import Offer, SectionField

TICKED_DUE: Final = "due"


class CircumstancesForm(forms.Form):
    """For which test a plan is made; what has to be proved follows from it."""

    use_required_attribute = False

    stack = forms.ModelChoiceField(Stack.objects.none(), label="Stack", empty_label=None)
    section = SectionField(
        HoleSection.objects.none(),
        label="Well and hole section",
        required=False,
        empty_label="None: on the test stump",
        help_text="Wellhead, casing and MASP of the section limit what may be tested.",
    )
    reason = forms.ChoiceField(label="Reason", choices=TestReason.choices)
    barrier = forms.ChoiceField(label="Plug or cup", choices=Barrier.choices)

    def __init__(self, data: Any = None, *, offer: Offer, stack: Stack | None = None) -> None:
        super().__init__(data, initial=_initial(offer, stack))
        cast(forms.ModelChoiceField[Stack], self.fields["stack"]).queryset = offer.stacks
        sections = cast(SectionField, self.fields["section"])
        sections.drilled, sections.queryset = offer.drilled, offer.sections

    @classmethod
    def read(cls, given: QueryDict, *, offer: Offer) -> "CircumstancesForm":
        """Return the form of an address: what it does not state is as usual."""
        usual = {name: value for name, value in _initial(offer, None).items() if value is not None}
        stated = {name: given[name] for name in cls.base_fields if name in given}
        return cls({**usual, **stated}, offer=offer)


def _initial(offer: Offer, stack: Stack | None) -> dict[str, Any]:
    last = offer.last
    section = offer.drilled or offer.sections.order_by("-begins_at", "-order").first()
    first = stack or (last.stack if last else offer.stacks.first())
    return {
        "stack": first.pk if first else None,
        "section": section.pk if section else None,
        "reason": TestReason.INTERVAL.value,
        "barrier": last.pressure_test.barrier if last else Barrier.PLUG.value,
    }


@dataclass(frozen=True)
class AskedRow:
    """One element from one side, with its tick and how the element stands on the due list."""

    askable: Askable
    ticked: bool
    due: DueItem | None

    @property
    def input_id(self) -> str:
        """Return the id of its tick."""
        return f"id_wanted_{self.askable.key.replace(':', '_')}"


@dataclass(frozen=True)
class AskedGroup:
    """Elements of one part of the pressure system."""

    label: str
    rows: tuple[AskedRow, ...]


class WantedForm(forms.Form):
    """What a plan has to prove: a tick for each element and side."""

    wanted = forms.MultipleChoiceField(
        label="What has to be proved",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick at least one element: the plan proves what is ticked."},
    )

    def __init__(
        self, data: Any = None, *, askables: Sequence[Askable], due: Mapping[int, DueItem], ticked: Collection[str]
    ) -> None:
        super().__init__(data)
        self.askables, self.due, self.first_ticked = askables, due, frozenset(ticked)
        wanted = cast(forms.MultipleChoiceField, self.fields["wanted"])
        wanted.choices = [(one.key, one.standing.position.name) for one in askables]

    def ticked(self) -> frozenset[str]:
        """Return what is ticked, whether or not the rest is in order."""
        return frozenset(cast(QueryDict, self.data).getlist("wanted")) if self.is_bound else self.first_ticked

    def groups(self) -> list[AskedGroup]:
        """Return the rows by the part of the system they belong to, top to bottom."""
        ticked = self.ticked()
        rows = [AskedRow(one, one.key in ticked, self.due.get(one.standing.position.pk)) for one in self.askables]
        found = [
            AskedGroup(str(group.label), tuple(row for row in rows if row.askable.standing.position.group == group))
            for group in PositionGroup
        ]
        return [group for group in found if group.rows]


class LineUpForm(forms.Form):
    """One line-up by hand: where it is pumped, on what pipe, how high, and which elements are closed."""

    use_required_attribute = False

    pump_point = forms.ChoiceField(label="Pumped at")
    pipe = forms.ChoiceField(label="Pipe in the hole")
    pressure = QuantityFormField(Dimension.PRESSURE, positive=True, label="Pressure")
    closed = forms.MultipleChoiceField(label="Closed", required=False, widget=forms.CheckboxSelectMultiple)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(
        self,
        data: Any = None,
        *,
        pump_points: Iterable[str],
        pipes: Iterable[str],
        elements: Sequence[Element],
        version: int,
        step: LineUpStep | None = None,
        normally_closed: Iterable[str] = (),
    ) -> None:
        super().__init__(data, initial={**_of_step(step, normally_closed), "version": version})
        self.elements = elements
        cast(forms.ChoiceField, self.fields["pump_point"]).choices = [(one, one) for one in pump_points]
        cast(forms.ChoiceField, self.fields["pipe"]).choices = [(one, pipe_words(one)) for one in pipes]
        closed = cast(forms.MultipleChoiceField, self.fields["closed"])
        closed.choices = [(one.id, one.id) for one in elements]

    def ticked(self) -> frozenset[str]:
        """Return the elements ticked as closed."""
        given = cast(QueryDict, self.data).getlist("closed") if self.is_bound else self.initial["closed"]
        return frozenset(given)

    def rows(self) -> list[tuple[Element, bool]]:
        """Return every element with its tick."""
        ticked = self.ticked()
        return [(one, one.id in ticked) for one in self.elements]

    def spec(self) -> StepSpec:
        """Return the line-up as the action takes it."""
        given = self.cleaned_data
        pressure = given["pressure"]
        return StepSpec(given["pump_point"], given["pipe"], f"{pressure.text} {pressure.unit}", given["closed"])


def _of_step(step: LineUpStep | None, normally_closed: Iterable[str]) -> dict[str, Any]:
    if step is None:
        return {"closed": list(normally_closed)}
    return {"pump_point": step.pump_point, "pipe": step.pipe, "pressure": step.pressure, "closed": step.closed}


def due_by_position(items: Iterable[DueItem], stack: Stack) -> dict[int, DueItem]:
    """Return the pressure test due on each position of a stack, the most pressing one."""
    found: dict[int, DueItem] = {}
    for item in items:
        if item.position is not None and item.position.stack_id == stack.pk and item.what == "pressure-test":
            found.setdefault(item.position.pk, item)
    return found
