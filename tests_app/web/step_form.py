"""A step as a form: which installed elements one line-up proves, and from which side."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, cast

from django import forms
from django.http import QueryDict

from calcs.units import Dimension
from equipment.models import NOT_PRESSURE_TESTED, Position, PositionGroup
from equipment.queries.stacks import Standing
from equipment.web.fields import QuantityFormField
from tests_app.actions.steps import LineSpec
from tests_app.models import PressureFrom
from tests_app.queries.sides import sides_of

_TESTED_GROUPS: Final = (
    PositionGroup.BORE,
    PositionGroup.CHOKE_SIDE,
    PositionGroup.KILL_SIDE,
    PositionGroup.MANIFOLD,
    PositionGroup.DRIVE,
    PositionGroup.STRING,
    PositionGroup.RISER,
)
_FEW: Final = 3

PUMP_POINTS: Final = (
    "Test pump, through the test joint",
    "Test pump, through the kill line",
    "Test pump, through the choke line",
    "Cementing unit, through the kill line",
    "Test pump, at the choke manifold",
    "Test pump, at the standpipe",
)
"""Where pressure is commonly pumped in (common practice); anything else can be typed."""


@dataclass(frozen=True)
class Element:
    """One installed element with its tick and its side, as the form shows them."""

    standing: Standing
    ticked: bool
    side: str
    sides: tuple[PressureFrom, ...]

    @property
    def position(self) -> Position:
        """Return where it stands."""
        return self.standing.position

    @property
    def side_name(self) -> str:
        """Return the name of the input for its side."""
        return f"side-{self.position.pk}"

    def side_choices(self) -> list[tuple[str, str]]:
        """Return the sides pressure can come from, the usual one first."""
        return [(side.value, str(side.label)) for side in self.sides]


@dataclass(frozen=True)
class ElementGroup:
    """Elements of one part of the pressure system."""

    label: str
    elements: tuple[Element, ...]


class StepForm(forms.Form):
    """Name, pump point and the elements a step proves; sides come as ``side-<position>`` beside the ticks."""

    name = forms.CharField(
        label="Name",
        max_length=80,
        required=False,
        help_text="Left empty, it is named after its elements.",
    )
    pump_point = forms.CharField(
        label="Pump point",
        max_length=80,
        required=False,
        help_text="Where the pressure is pumped in.",
        widget=forms.TextInput({"list": "pump-points", "autocomplete": "off"}),
    )
    max_decay = QuantityFormField(
        Dimension.PRESSURE,
        positive=True,
        label="Largest fall allowed in a hold",
        required=False,
        help_text="Where the test plan sets one. The certificate prints it.",
    )
    remarks = forms.CharField(label="Remarks", required=False, widget=forms.Textarea({"rows": 2}))
    element = forms.TypedMultipleChoiceField(
        label="Elements proved",
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick at least one element: a step proves what is ticked."},
    )

    def __init__(
        self,
        data: Any = None,
        *,
        standings: Sequence[Standing],
        chosen: Mapping[int, str] | None = None,
        initial: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(data, initial={**(initial or {}), "element": list(chosen or {})})
        self.standings = [one for one in standings if is_testable(one)]
        self.chosen = dict(chosen or {})
        element = cast(forms.MultipleChoiceField, self.fields["element"])
        element.choices = [(one.position.pk, one.position.name) for one in self.standings]

    def clean(self) -> dict[str, Any]:
        """Refuse a side that no element has."""
        for element in self.elements():
            if element.ticked and element.side not in PressureFrom.values:
                self.add_error("element", f"{element.position.name}: choose the side the pressure comes from.")
        return self.cleaned_data

    def ticked(self) -> set[int]:
        """Return the positions ticked, whether or not the rest is in order."""
        raw: Iterable[Any] = cast(QueryDict, self.data).getlist("element") if self.is_bound else self.initial["element"]
        return {int(value) for value in raw if str(value).isdigit()}

    def elements(self) -> list[Element]:
        """Return every element that can be tested, with its tick and side as they stand in the form."""
        ticked = self.ticked()
        return [self._element(standing, ticked) for standing in self.standings]

    def _element(self, standing: Standing, ticked: set[int]) -> Element:
        position = standing.position
        sides = sides_of(standing.component.kind if standing.component else position.kind)
        side = self.data.get(f"side-{position.pk}", "") if self.is_bound else self.chosen.get(position.pk, "")
        return Element(standing, position.pk in ticked, side or sides[0].value, sides)

    def groups(self) -> list[ElementGroup]:
        """Return the elements by the part of the system they belong to, top to bottom."""
        elements = self.elements()
        grouped = [
            ElementGroup(str(group.label), tuple(e for e in elements if e.position.group == group))
            for group in _TESTED_GROUPS
        ]
        return [group for group in grouped if group.elements]

    def fall_allowed(self) -> str:
        """Return the largest fall allowed as the action takes it, with its unit; "" for none."""
        given = self.cleaned_data["max_decay"]
        return f"{given.text} {given.unit}" if given else ""

    def lines(self) -> list[LineSpec]:
        """Return what is ticked as the action takes it."""
        return [LineSpec(e.position, e.side) for e in self.elements() if e.ticked]

    def step_name(self) -> str:
        """Return the name typed, or one made of the elements."""
        typed: str = self.data.get("name", "") if self.is_bound else self.initial.get("name", "")
        return typed.strip() or proposed_name([e.position for e in self.elements() if e.ticked])


def is_testable(standing: Standing) -> bool:
    """Tell whether something stands there that a pressure test can prove."""
    if standing.component is None or standing.component.kind in NOT_PRESSURE_TESTED:
        return False
    return standing.position.group in _TESTED_GROUPS


def proposed_name(positions: Sequence[Position]) -> str:
    """Return a name for a step after its elements: ``Upper pipe ram, outer kill valve and 2 more``."""
    names = [positions[0].name, *(_lowered(p.name) for p in positions[1:])] if positions else []
    if len(names) > _FEW:
        names = [*names[: _FEW - 1], f"{len(names) - _FEW + 1} more"]
    joined = " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)
    return joined[:80]


def _lowered(name: str) -> str:
    """Return the name as it stands inside a sentence; a name that begins with an abbreviation keeps it."""
    return name[:1].lower() + name[1:] if name[1:2].islower() else name
