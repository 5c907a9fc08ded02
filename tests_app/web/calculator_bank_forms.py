"""The calculations of accumulators as forms."""

from typing import Any, Final

from django import forms

from calcs.gas import Model
from calcs.units import Dimension
from equipment.web.fields import SMALL_LENGTHS, VOLUMES, QuantityFormField
from tests_app.web.bank_fields import MODEL_CHOICES, BankFields
from tests_app.web.calculator_base import CalculationForm
from tests_app.web.calculator_drawdown_form import DrawdownFitForm
from tests_app.web.function_rows import FunctionRows

_FACTOR: Final = "Take it from your own edition of API Specification 16D: the published values are not confirmed to us."


def _model_field(initial: Model = Model.NITROGEN_ISENTROPIC) -> forms.ChoiceField:
    return forms.ChoiceField(
        label="Gas law", choices=MODEL_CHOICES, initial=initial.value, help_text="The answer shows the others beside."
    )


class UsableVolumeForm(BankFields):
    """Fluid between two pressures."""

    name = "usable-volume"
    title = "Usable fluid of a bank"
    summary = "Fluid a bank gives between charged and minimum pressure, by every gas law beside each other."
    minimum = QuantityFormField(Dimension.PRESSURE, label="Minimum pressure", help_text="The least that still works.")
    model = _model_field()
    field_order = ("bottle_volume", "count", "precharge", "charged", "minimum", "model")

    def document(self) -> dict[str, Any]:
        """Return the document."""
        return self.charged_document("minimum", "model")


class PressureAfterForm(BankFields):
    """Pressure once fluid is drawn."""

    name = "pressure-after"
    title = "Bank pressure after fluid is drawn"
    summary = "Pressure of a bank once fluid is drawn with the pumps off."
    withdrawn = QuantityFormField(Dimension.VOLUME, VOLUMES, label="Fluid drawn from the whole bank")
    model = _model_field()
    field_order = ("bottle_volume", "count", "precharge", "charged", "withdrawn", "model")

    def document(self) -> dict[str, Any]:
        """Return the document."""
        return self.charged_document("withdrawn", "model")


class ClosingSequenceForm(BankFields, FunctionRows):
    """Functions closed one after the other."""

    name = "closing-sequence"
    title = "Closing sequence"
    summary = "Whether a bank closes a sequence of functions with its pumps dead, step by step."
    model = _model_field()
    reserve = QuantityFormField(
        Dimension.PRESSURE, label="Reserve over precharge", required=False, help_text="200 psi when empty."
    )
    field_order = ("bottle_volume", "count", "precharge", "charged", "reserve", "model")

    def clean(self) -> dict[str, Any]:
        """Refuse rows half filled in."""
        self.check_rows()
        return self.cleaned_data

    def document(self) -> dict[str, Any]:
        """Return the document."""
        functions = [one for _, one in self.functions()]
        return {**self.charged_document("reserve", "model"), "functions": functions}


class PrechargeAtTemperatureForm(CalculationForm):
    """Precharge at another temperature."""

    name = "precharge-at-temperature"
    title = "Precharge at another temperature"
    summary = "What a precharge becomes once its gas is warmer or colder, by real nitrogen and by an ideal gas."
    precharge = QuantityFormField(Dimension.PRESSURE, label="Precharge", positive=True)
    read_at = QuantityFormField(Dimension.TEMPERATURE, label="Gas temperature when it was read")
    wanted_at = QuantityFormField(Dimension.TEMPERATURE, label="Gas temperature asked for")
    model = _model_field(Model.NITROGEN_ISOTHERMAL)
    places = {"from": "read_at", "to": "wanted_at"}

    def document(self) -> dict[str, Any]:
        """Return the document."""
        temperatures = self.given("read_at", "wanted_at")
        named = {"from": temperatures["read_at"], "to": temperatures["wanted_at"]}
        return {**self.given("precharge", "model"), **named}


class PrechargeFromDrawdownForm(CalculationForm):
    """Precharge from a drawdown."""

    name = "precharge-from-drawdown"
    title = "Precharge from a drawdown"
    summary = "Average precharge of a bank from the fluid drawn and the pressures before and after."
    total_volume = QuantityFormField(
        Dimension.VOLUME,
        VOLUMES,
        label="Gas volume of all bottles",
        positive=True,
        help_text="Without fluid: an 11 gal bottle holds 10 gal of gas.",
    )
    start = QuantityFormField(Dimension.PRESSURE, label="Pressure before")
    end = QuantityFormField(Dimension.PRESSURE, label="Pressure after")
    withdrawn = QuantityFormField(Dimension.VOLUME, VOLUMES, label="Fluid drawn")
    model = _model_field(Model.BOYLE_GAUGE)
    temperature = BankFields.base_fields["temperature"]

    def document(self) -> dict[str, Any]:
        """Return the document."""
        return self.given("total_volume", "start", "end", "withdrawn", "model", "temperature")


class ClosingPressureForm(CalculationForm):
    """What an operator needs."""

    name = "closing-pressure"
    title = "Closing pressure of a ram"
    summary = "Pressure a ram needs to close and hold against the well, with an estimate of the pressure to shear."
    wellbore_pressure = QuantityFormField(Dimension.PRESSURE, label="Wellbore pressure")
    closing_ratio = forms.DecimalField(
        label="Closing ratio", widget=forms.TextInput({"inputmode": "decimal", "class": "short"})
    )
    operator_friction = QuantityFormField(
        Dimension.PRESSURE, label="Friction and packer squeeze", required=False, help_text="The maker's figure."
    )
    pipe_od = QuantityFormField(
        Dimension.LENGTH,
        SMALL_LENGTHS,
        label="Pipe to shear: outside diameter",
        required=False,
        help_text="Leave the pipe empty where nothing is sheared.",
    )
    pipe_id = QuantityFormField(Dimension.LENGTH, SMALL_LENGTHS, label="Inside diameter", required=False)
    yield_strength = QuantityFormField(
        Dimension.PRESSURE, label="Yield strength", required=False, help_text="The mill's or the highest of the grade."
    )
    closing_area = QuantityFormField(
        Dimension.AREA, ("in^2", "cm^2"), label="Closing area of the pistons", required=False
    )
    tested_pressure = QuantityFormField(
        Dimension.PRESSURE,
        label="Pressure in the maker's shear test",
        required=False,
        help_text="Where known; it prevails over the estimate.",
    )
    _shear_names = ("pipe_od", "pipe_id", "yield_strength", "closing_area", "tested_pressure")
    places = {f"shear.{name}": name for name in _shear_names}

    def clean(self) -> dict[str, Any]:
        """Ask for the whole pipe once a part of it is given."""
        needed = self._shear_names[:4]
        if any(self.cleaned_data.get(name) for name in self._shear_names):
            for name in needed:
                if self.cleaned_data.get(name) is None and not self.has_error(name):
                    self.add_error(name, "The estimate of shearing needs this too. Give it, or empty the pipe.")
        return self.cleaned_data

    def document(self) -> dict[str, Any]:
        """Return the document."""
        found: dict[str, Any] = self.given("wellbore_pressure", "closing_ratio", "operator_friction")
        shear = self.given(*self._shear_names)
        return found | {"shear": shear} if shear else found


def _factor_field(label: str) -> forms.DecimalField:
    return forms.DecimalField(
        label=label, widget=forms.TextInput({"inputmode": "decimal", "class": "short"}), help_text=_FACTOR
    )


class VolumetricEfficiencyForm(BankFields):
    """Usable fluid over bottle volume, by the factors of the reader's own edition."""

    name = "volumetric-efficiency"
    title = "Volumetric efficiency"
    summary = "Share of a bottle that is usable fluid with the design factors of your edition, and the best precharge."
    minimum = QuantityFormField(Dimension.PRESSURE, label="Minimum pressure", help_text="The least that still works.")
    pressure_factor = _factor_field("Pressure factor")
    volume_factor = _factor_field("Volume factor")
    model = _model_field()
    field_order = (
        *("bottle_volume", "precharge", "charged", "minimum"),
        *("pressure_factor", "volume_factor", "model"),
    )

    def __init__(self, *given: Any, **options: Any) -> None:
        super().__init__(*given, **options)
        del self.fields["count"]  # a share is the same for one bottle and for many

    def bank_document(self) -> dict[str, Any]:
        """Return the bank as one bottle."""
        self.cleaned_data.setdefault("count", 1)
        return super().bank_document()

    def document(self) -> dict[str, Any]:
        """Return the document."""
        return self.charged_document("minimum", "pressure_factor", "volume_factor", "model")


class BestPrechargeForm(BankFields, FunctionRows):
    """The precharge that gives the most usable fluid."""

    name = "best-precharge"
    title = "Best precharge"
    summary = "The precharge that gives the most usable fluid for the pressures needed, with the curve around it."
    minimum = QuantityFormField(
        Dimension.PRESSURE,
        label="Minimum pressure",
        required=False,
        help_text="The least that still works; for functions without a least pressure of their own.",
    )
    model = _model_field()
    field_order = ("bottle_volume", "count", "precharge", "charged", "minimum", "model")

    def __init__(self, *given: Any, **options: Any) -> None:
        super().__init__(*given, **options)
        precharge = self.fields["precharge"]
        precharge.required, precharge.label = False, "Precharge now"
        precharge.help_text = "To see it beside the best; may be left empty."

    def clean(self) -> dict[str, Any]:
        """Ask for the least pressure where no function has one."""
        self.check_rows()
        open_ones = [number for number, one in self.functions() if "minimum_pressure" not in one]
        if self.cleaned_data.get("minimum") is None and not self.errors and (open_ones or not self.functions()):
            self.add_error("minimum", "Give the minimum pressure, or each function with its least pressure.")
        return self.cleaned_data

    def document(self) -> dict[str, Any]:
        """Return the document."""
        functions = [one for _, one in self.functions()]
        found = self.charged_document("minimum", "model")
        return found | {"functions": functions} if functions else found


class BottlesRequiredForm(BankFields, FunctionRows):
    """How many bottles a volume asks for."""

    name = "bottles-required"
    title = "Bottles required"
    summary = "Bottles a closing volume asks for, and how the sequence fares on them."
    functional_volume = QuantityFormField(
        Dimension.VOLUME,
        VOLUMES,
        label="Functional volume",
        required=False,
        help_text="When empty, the functions' closing volumes are added up.",
    )
    minimum = QuantityFormField(Dimension.PRESSURE, label="Minimum pressure", help_text="The least that still works.")
    pressure_factor = _factor_field("Pressure factor")
    volume_factor = _factor_field("Volume factor")
    model = _model_field()
    field_order = (
        "functional_volume",
        "bottle_volume",
        "precharge",
        "charged",
        "minimum",
        "pressure_factor",
        "volume_factor",
        "model",
    )

    def __init__(self, *given: Any, **options: Any) -> None:
        super().__init__(*given, **options)
        del self.fields["count"]  # it is what is asked for

    def clean(self) -> dict[str, Any]:
        """Ask for the volume, or for functions to add up."""
        self.check_rows()
        if not self.cleaned_data.get("functional_volume") and not self.functions() and not self.errors:
            self.add_error("functional_volume", "Give the functional volume, or the functions with their volumes.")
        return self.cleaned_data

    def bank_document(self) -> dict[str, Any]:
        """Return the bank without its count."""
        self.cleaned_data.setdefault("count", 1)
        return super().bank_document()

    def document(self) -> dict[str, Any]:
        """Return the document."""
        functions = [one for _, one in self.functions()]
        names = ("functional_volume", "minimum", "pressure_factor", "volume_factor", "model")
        found = self.charged_document(*names)
        return found | {"functions": functions} if functions else found


BANK_FORMS: Final[tuple[type[CalculationForm], ...]] = (
    UsableVolumeForm,
    PressureAfterForm,
    ClosingSequenceForm,
    BottlesRequiredForm,
    VolumetricEfficiencyForm,
    BestPrechargeForm,
    PrechargeAtTemperatureForm,
    PrechargeFromDrawdownForm,
    DrawdownFitForm,
    ClosingPressureForm,
)
"""The calculations of accumulators, in the order they are listed."""
