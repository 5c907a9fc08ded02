"""The form field of a number with its unit."""

import pytest
from django import forms
from django.http import QueryDict
from hypothesis import given
from hypothesis import strategies as st

from calcs.units import Dimension
from equipment.models import Measured
from equipment.web.fields import SMALL_LENGTHS, QuantityFormField


class PressureForm(forms.Form):
    pressure = QuantityFormField(Dimension.PRESSURE, required=False, positive=True)
    bore = QuantityFormField(Dimension.LENGTH, SMALL_LENGTHS, required=False)


def filled(number: str, unit: str = "psi") -> PressureForm:
    return PressureForm(QueryDict(f"pressure_number={number}&pressure_unit={unit}"))


def test_the_digits_are_kept_as_typed():
    form = filled("10000.50")
    assert form.is_valid()
    measured = form.cleaned_data["pressure"]
    assert (measured.text, measured.unit) == ("10000.50", "psi")
    assert measured.si == pytest.approx(10000.5 * 6894.757293168361)


@pytest.mark.parametrize("typed", ["10,000", "10 000", "10000"])
def test_thousands_may_be_separated(typed: str):
    form = filled(typed.replace(" ", "+"))
    assert form.is_valid()
    assert form.cleaned_data["pressure"].text == "10000"


def test_a_unit_without_a_number_is_nothing_at_all():
    form = filled("")
    assert form.is_valid()
    assert form.cleaned_data["pressure"] is None


@pytest.mark.parametrize(
    ("number", "unit", "part"),
    [
        ("ten", "psi", "is not a number"),
        ("nan", "psi", "is not a number"),
        ("inf", "psi", "is not a number"),
        ("1e999", "psi", "not finite"),
        ("6,85", "psi", "two ways"),
        ("1,000,5", "psi", "two ways"),
        ("100", "furlong", "is not a unit of pressure"),
        ("100", "psia", "absolute"),
        ("-5", "psi", "over zero"),
        ("0", "psi", "over zero"),
        ("9" * 40, "psi", "longer than"),
        ("\x00", "psi", ""),
    ],
)
def test_bad_input_is_refused_beside_the_field_and_comes_back_as_typed(number: str, unit: str, part: str):
    form = filled(number, unit)
    assert not form.is_valid()
    assert part in form.errors["pressure"][0]
    if number != "\x00":
        assert f'value="{number}"' in str(form["pressure"])


def test_a_required_quantity_says_what_to_give():
    field = QuantityFormField(Dimension.PRESSURE)
    with pytest.raises(forms.ValidationError, match="Give a number and its unit"):
        field.clean(["", "psi"])


def test_a_metric_rig_finds_metric_units_first():
    form = PressureForm()
    form.fields["pressure"].prefer("si")
    shown = str(form["pressure"])
    assert shown.index("kPa") < shown.index("psi")
    assert str(PressureForm()["pressure"]).index("psi") < str(PressureForm()["pressure"]).index("kPa")


def test_a_row_s_own_unit_is_offered_even_where_the_form_has_it_not():
    form = PressureForm(initial={"bore": Measured("1.5", "ft", 0.4572)})
    assert '<option value="ft" selected>' in str(form["bore"])
    assert '<option value="ft"' not in str(PressureForm()["bore"])


def test_a_change_of_unit_alone_is_a_change():
    form = PressureForm(
        QueryDict("pressure_number=10&pressure_unit=bar&bore_number=&bore_unit=in"),
        initial={"pressure": Measured("10", "psi", 68947.57)},
    )
    assert form.changed_data == ["pressure"]


@given(st.decimals(min_value="0.001", max_value="99999", places=3), st.sampled_from(["psi", "kPa", "bar", "MPa"]))
def test_what_is_read_is_what_was_written(number, unit):
    measured = QuantityFormField(Dimension.PRESSURE).clean([str(number), unit])
    assert measured.text == str(number)
    assert measured.in_unit(Dimension.PRESSURE, unit) == pytest.approx(float(number))


@given(st.text(max_size=40), st.text(max_size=12))
def test_whatever_is_typed_is_read_or_refused_with_words(number, unit):
    form = PressureForm({"pressure_number": number, "pressure_unit": unit})
    measured = form.cleaned_data["pressure"] if form.is_valid() else None
    assert form.is_valid() is not bool(form.errors.get("pressure"))
    assert measured is None or measured.si > 0
