"""Changing one figure of the rules as a form: the fields follow the figure."""

from typing import Any, Final

from django import forms
from django.utils.text import slugify

from calcs.programme_figures import Band, Every, Figure
from calcs.programmes import ASKABLE, Changeable
from calcs.recurrence import Deadline
from calcs.rules import KIND_LABELS, STACKS
from calcs.schedule_rule_words import EVIDENCE_WORDS, TASK_WORDS
from calcs.schedule_rules import THING_LABELS, Evidence
from calcs.units import Dimension, System
from equipment.web.fields import QuantityFormField

_SHARES: Final = {Figure.HIGH_FRACTION, Figure.DECLINE, Figure.PUMP_START, Figure.PUMP_STOP}
_TIMES: Final = {Figure.HOLD, Figure.LOW_HOLD, Figure.WITHIN}
_LONGEST_NAME: Final = 50
BACK: Final = "back"
"""Prefix of the form to take a value back, which stands on the page of the other one."""
_TASKS: Final = [(task.value, TASK_WORDS[task]) for task in ASKABLE]
_THINGS: Final = [key for key in THING_LABELS if any(key in about for about in ASKABLE.values())]
DEADLINES: Final = [
    (Deadline.MIDNIGHT.value, "To the midnight that ends the last day"),
    (Deadline.EXACT.value, "To the same clock time"),
]


def _interval() -> forms.CharField:
    return forms.CharField(
        label="Interval",
        max_length=20,
        widget=forms.TextInput({"class": "short", "autocomplete": "off"}),
        help_text="Such as 7 d, 2 weeks, 6 months, 5 years or 336 h.",
    )


def _reason() -> forms.CharField:
    return forms.CharField(
        label="Reason",
        max_length=500,
        widget=forms.Textarea({"rows": 2}),
        help_text="Such as the operator's standard or the contract. It stays with the copy.",
        error_messages={"required": "Say why, in a few words."},
    )


class FigureForm(forms.Form):
    """The own value of one figure, the approval a looser one needs, and why."""

    def __init__(self, data: Any = None, *, found: Changeable, units: System, approval: str = "") -> None:
        super().__init__(data)
        self.found = found
        self.fields.update(_fields_of(found, units))
        self.first = next(iter(self.fields))
        self.fields["approval"] = forms.CharField(
            label="Reference of the approval",
            required=False,
            max_length=120,
            initial=approval,
            help_text="Needed where the value is looser than the source's: permit, letter or dispensation.",
        )
        self.fields["reason"] = _reason()

    @property
    def names(self) -> dict[str, str]:
        """Return the form's fields by the names an action knows their values by."""
        parts = {"own.interval": "interval", "own.deadline": "deadline", "own.min": "lowest", "own.max": "highest"}
        return {"own": self.first, "own.restart_above": "restart_above", **parts}

    @property
    def own(self) -> Any:
        """Return the own value as an action takes it."""
        given = self.cleaned_data
        match self.found.figure:
            case Figure.INTERVAL:
                return {"interval": given["interval"], "deadline": given["deadline"]}
            case Figure.LOW_BAND:
                band = {"min": _written(given["lowest"]), "max": _written(given["highest"])}
                restart = given["restart_above"]
                return {**band, "restart_above": _written(restart)} if restart else band
            case Figure.EVIDENCE:
                return list(given["evidence"])
            case figure if figure in _SHARES:
                return float(given["percent"]) / 100
        return _written(given["value"])


def _fields_of(found: Changeable, units: System) -> dict[str, forms.Field]:
    match found.figure:
        case Figure.INTERVAL:
            return _interval_fields(found.source)
        case Figure.LOW_BAND:
            return _band_fields(found.source, units)
        case Figure.EVIDENCE:
            choices = [(one.value, f"{EVIDENCE_WORDS[one][:1].upper()}{EVIDENCE_WORDS[one][1:]}") for one in Evidence]
            widget = forms.CheckboxSelectMultiple
            return {"evidence": forms.MultipleChoiceField(label="Evidence added", choices=choices, widget=widget)}
        case figure if figure in _SHARES:
            percent = forms.DecimalField(
                label=f"{found.kind.label}, %",
                min_value=0,
                max_value=150,
                max_digits=7,
                decimal_places=3,
                widget=forms.NumberInput({"class": "short", "step": "any"}),
                help_text=found.kind.direction,
            )
            return {"percent": percent}
        case figure:
            dimension = Dimension.TIME if figure in _TIMES else Dimension.PRESSURE
            return {"value": _quantity(found.kind.label, dimension, units, found.kind.direction)}


def _interval_fields(source: Every | None) -> dict[str, forms.Field]:
    ends = source.deadline.value if source else Deadline.MIDNIGHT.value
    return {
        "interval": _interval(),
        "deadline": forms.ChoiceField(label="Ends", choices=DEADLINES, initial=ends),
    }


def _band_fields(source: Band | None, units: System) -> dict[str, forms.Field]:
    return {
        "lowest": _quantity("From", Dimension.PRESSURE, units),
        "highest": _quantity("To", Dimension.PRESSURE, units),
        "restart_above": _quantity(
            "Begun again when over", Dimension.PRESSURE, units, "Left empty: the top of the band.", required=False
        ),
    }


def _quantity(
    label: str, dimension: Dimension, units: System, help_text: str = "", *, required: bool = True
) -> QuantityFormField:
    field = QuantityFormField(dimension, label=label, help_text=help_text, positive=True, required=required)
    field.prefer(units)
    return field


def _written(measured: Any) -> str:
    return f"{measured.text} {measured.unit}"


class OwnRuleForm(forms.Form):
    """A rule of the rig's own: what is done to what, how often, and why."""

    title = forms.CharField(label="What is asked", max_length=120, help_text="Such as Elastomers of annulars changed.")
    task = forms.ChoiceField(
        label="Task", choices=[("", "Choose"), *((key.value, TASK_WORDS[key]) for key in TASK_WORDS)]
    )
    about = forms.MultipleChoiceField(
        label="About",
        choices=[
            ("Components", [(key, words.capitalize()) for key, words in KIND_LABELS.items()]),
            ("Other things", [(key, f"{THING_LABELS[key][:1].upper()}{THING_LABELS[key][1:]}") for key in _THINGS]),
        ],
        widget=forms.SelectMultiple({"size": 8}),
        help_text="One or several.",
    )
    stacks = forms.MultipleChoiceField(
        label="On",
        required=False,
        choices=[(stack, f"{stack.capitalize()} stacks") for stack in STACKS],
        widget=forms.CheckboxSelectMultiple,
        help_text="None chosen: on both.",
    )
    interval = _interval()
    deadline = forms.ChoiceField(label="Ends", choices=DEADLINES)
    note = forms.CharField(label="Note", required=False, max_length=300, widget=forms.Textarea({"rows": 2}))
    reason = _reason()

    names: Final = {
        "rule": "title",
        **{f"own.{name}": name for name in ("title", "task", "about", "stacks", "interval", "deadline", "note")},
    }

    @property
    def rule_id(self) -> str:
        """Return the name the rule goes by."""
        return f"own-{slugify(self.cleaned_data['title'])[:_LONGEST_NAME]}".removesuffix("-")

    @property
    def own(self) -> dict[str, Any]:
        """Return the rule as an action takes it."""
        given = self.cleaned_data
        kept = {name: given[name] for name in ("title", "task", "about", "interval", "deadline")}
        return {**kept, **{name: given[name] for name in ("stacks", "note") if given[name]}}


class TakeBackForm(forms.Form):
    """Why an own value is taken back."""

    reason = _reason()
