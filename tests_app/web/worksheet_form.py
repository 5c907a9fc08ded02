"""The form of the bank worksheet; all of it stands in the address."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from calcs.accumulators import Bank
from calcs.closing import Function
from calcs.errors import InputError
from calcs.fields import Fields
from calcs.gas import Model
from calcs.surfaces.accumulators import read_bank, read_pressure
from calcs.surfaces.closing import read_functions, read_reserve
from calcs.units import Dimension, GaugePressure
from equipment.web.fields import QuantityFormField
from tests_app.web.bank_fields import BankFields
from tests_app.web.function_rows import FunctionRows

_BANK: Final = ("bottle_volume", "count", "precharge", "charged", "minimum", "reserve", "temperature")
_SUBSEA: Final = ("depth", "precharge_basis", "fluid_gradient", "sea_temperature")


@dataclass(frozen=True)
class Question:
    """What the worksheet is asked: a bank and what is wanted of it. SI; pressures gauge at surface.

    Attributes:
        bank: by real nitrogen that stays warm; the other models take its place in turn.
        charged: pressure it is charged to, Pa.
        minimum: least pressure that still works, Pa.
        minimum_is_given: false where precharge and reserve stand in for it.
        reserve: kept over the precharge at the end, Pa.
        functions: closed in their order; may be empty.
    """

    bank: Bank
    charged: GaugePressure
    minimum: GaugePressure
    minimum_is_given: bool
    reserve: GaugePressure
    functions: tuple[Function, ...]


class WorksheetForm(BankFields, FunctionRows):
    """A bank to try."""

    name = "bank-worksheet"
    title = "Bank worksheet"
    summary = "Try a bank by four gas laws side by side: usable fluid, closing sequence and the plot."
    minimum = QuantityFormField(
        Dimension.PRESSURE,
        label="Minimum pressure",
        required=False,
        help_text="The least that still works; precharge and reserve when empty.",
    )
    reserve = QuantityFormField(
        Dimension.PRESSURE, label="Reserve over precharge", required=False, help_text="200 psi when empty."
    )

    def bank_fields(self) -> list[Any]:
        """Return the fields every bank has."""
        return [self[name] for name in _BANK]

    def subsea_fields(self) -> list[Any]:
        """Return the fields of a bank at depth."""
        return [self[name] for name in _SUBSEA]

    def is_subsea(self) -> bool:
        """Tell whether anything of the bank at depth is filled in or at fault."""
        asked = ("depth", "fluid_gradient", "sea_temperature")
        return any(self.has_error(name) or _typed(self[name].value()) for name in asked)

    def clean(self) -> dict[str, Any]:
        """Refuse rows half filled in."""
        self.check_rows()
        return self.cleaned_data

    def document(self) -> dict[str, Any]:
        """Return the bank, the pressures and the functions as the calculations read them."""
        functions = [one for _, one in self.functions()]
        found = self.charged_document("minimum", "reserve") | {"model": Model.NITROGEN_ISOTHERMAL.value}
        return found | {"functions": functions} if functions else found

    def question(self) -> Question:
        """Return the question; raises InputError by the path of the document."""
        return read_question(self.document())


def _typed(value: Any) -> bool:
    """Tell whether a quantity's row holds a number; its unit alone says nothing."""
    return bool(value[0]) if isinstance(value, list | tuple) else bool(value)


def read_question(document: Mapping[str, Any]) -> Question:
    """Read a worksheet's document; raises InputError naming the field at fault."""
    fields = Fields(document)
    bank, charged, reserve = read_bank(fields), read_pressure(fields, "charged"), read_reserve(fields)
    least = GaugePressure(bank.at_surface(bank.precharge_at_bottle) + reserve)
    given = fields.has("minimum")
    minimum = read_pressure(fields, "minimum") if given else least
    if not given and least > charged and charged > bank.at_surface(bank.precharge_at_bottle):
        raise InputError("reserve", "Precharge and reserve are over the charged pressure.", "Give a lower reserve.")
    functions = read_functions(fields) if fields.has("functions") else ()
    return Question(bank, charged, minimum, given, reserve, functions)
