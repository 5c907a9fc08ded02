"""Slips of the pen: figures that no equipment and no well has are refused beside their field, with the remedy."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from equipment.actions import components, wells
from equipment.errors import Refused
from equipment.models import Component, HoleSection
from equipment.queries import wells as wells_queries
from tests import builders as a
from trail.actors import System

pytestmark = pytest.mark.django_db
DEMO = {"by": System.DEMO, "at": a.DAY}


def refused(act) -> Refused:
    with pytest.raises(Refused) as caught, transaction.atomic():
        act()
    return caught.value


@pytest.mark.parametrize(
    ("kind", "facts", "field"),
    [
        ("pipe-ram", {"rated_working_pressure": "30001 psi"}, "rated_working_pressure"),
        ("pipe-ram", {"rated_working_pressure": "10000 bar"}, "rated_working_pressure"),
        ("pipe-ram", {"rated_working_pressure": "69 kPa"}, "rated_working_pressure"),
        ("pipe-ram", {"rated_working_pressure": "0 psi"}, "rated_working_pressure"),
        ("pipe-ram", {"rated_working_pressure": "-5 psi"}, "rated_working_pressure"),
        ("annular", {"nominal_bore": "476.25 in"}, "nominal_bore"),
        ("annular", {"nominal_bore": "18.75 mm"}, "nominal_bore"),
        ("riser", {"nominal_bore": "60.1 in"}, "nominal_bore"),
        ("choke-valve", {"nominal_bore": "36 in"}, "nominal_bore"),
        ("pipe-ram", {"closing_volume": "501 gal"}, "closing_volume"),
        ("pipe-ram", {"closing_volume": "-1 gal"}, "closing_volume"),
        ("pipe-ram", {"opening_volume": "2000 L"}, "opening_volume"),
        ("pipe-ram", {"closing_ratio": Decimal(51)}, "closing_ratio"),
        ("pipe-ram", {"opening_ratio": Decimal("-0.5")}, "opening_ratio"),
        ("pipe-ram", {"rated_operating_pressure": "15000 psi"}, "rated_operating_pressure"),
        ("pipe-ram", {"closes_on_largest": "127 in"}, "closes_on_largest"),
        ("pipe-ram", {"closes_on_largest": "14 in", "nominal_bore": "13.625 in"}, "closes_on_largest"),
    ],
)
def test_a_component_has_figures_that_equipment_has(kind, facts, field):
    component = a.a_component(a.a_rig(), kind)
    error = refused(lambda: components.amend_component(component, **facts, **DEMO))
    assert error.field == field
    assert error.remedy
    assert Component.objects.get(pk=component.pk).rated_working_pressure == component.rated_working_pressure


@pytest.mark.parametrize(
    ("kind", "facts"),
    [
        ("pipe-ram", {"rated_working_pressure": "30000 psi"}),
        ("annular", {"nominal_bore": "18.75 in", "closing_volume": "98 gal"}),
        ("diverter", {"nominal_bore": "60 in"}),
        ("casing-shear-ram", {"closing_ratio": Decimal(28), "rated_operating_pressure": "5000 psi"}),
    ],
)
def test_the_largest_in_use_is_taken(kind, facts):
    assert a.a_component(a.a_rig(), kind, **facts).pk


def test_several_slips_are_named_together():
    with pytest.raises(ValidationError) as caught:
        a.a_component(a.a_rig(), nominal_bore="900 in", closing_volume="900 gal")
    assert set(caught.value.message_dict) == {"nominal_bore", "closing_volume"}


@pytest.mark.parametrize(
    ("kind", "facts", "field"),
    [
        ("drillship", {"water_depth": "13001 ft"}, "water_depth"),
        ("drillship", {"water_depth": "-1 m"}, "water_depth"),
        ("jack-up", {"water_depth": "700 ft"}, "water_depth"),
        ("land", {"water_depth": "200 ft", "air_gap": None}, "water_depth"),
        ("land", {"water_depth": None, "air_gap": "80 ft"}, "air_gap"),
        ("drillship", {"air_gap": "600 ft"}, "air_gap"),
        ("drillship", {"air_gap": "-2 ft"}, "air_gap"),
        ("drillship", {"datum": "sea-level", "air_gap": "80 ft"}, "air_gap"),
        ("drillship", {"spudded_on": date(2026, 3, 4)}, "spudded_on"),
        ("drillship", {"spudded_on": date(2026, 3, 1), "finished_on": date(2027, 3, 1)}, "finished_on"),
    ],
)
def test_a_well_stands_in_water_and_time_as_wells_do(kind, facts, field):
    rig = a.a_rig(kind=kind)
    error = refused(lambda: a.a_well(rig, at=a.DAY, **facts))
    assert error.field == field
    assert error.remedy


def test_a_land_well_has_no_water_and_a_well_may_be_spudded_on_the_next_day():
    land = a.a_well(a.a_rig(kind="land"), at=a.DAY, water_depth="0 ft", air_gap=None)
    assert (land.water_depth.si, land.air_gap) == (0, None)
    tomorrow = (a.DAY + timedelta(days=1)).date()
    assert a.a_well(a.a_rig(), at=a.DAY, spudded_on=tomorrow).spudded_on == tomorrow


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"total_depth": "50001 ft"}, "total_depth"),
        ({"total_depth": "10000 m", "casing_shoe_depth": "16000 m"}, "casing_shoe_depth"),
        ({"casing_shoe_depth": "10001 ft"}, "casing_shoe_depth"),
        ({"mud_weight": "4.9 lb/gal"}, "mud_weight"),
        ({"mud_weight": "3050 kg/m^3"}, "mud_weight"),
        ({"pore_gradient": "6 psi/ft"}, "pore_gradient"),
        ({"fracture_gradient": "0.2 psi/ft"}, "fracture_gradient"),
        ({"fracture_gradient": "1.4 psi/ft"}, "fracture_gradient"),
        ({"gas_gradient": "0.26 psi/ft"}, "gas_gradient"),
        ({"gas_gradient": "0.2 psi/ft", "pore_gradient": "0.15 psi/ft"}, "gas_gradient"),
        ({"casing_internal_yield": "40000 psi"}, "casing_internal_yield"),
        ({"wellhead_rated_working_pressure": "40000 psi"}, "wellhead_rated_working_pressure"),
        ({"masp_basis": "entered", "masp": "45000 psi", "masp_reason": "Programme."}, "masp"),
    ],
)
def test_a_section_has_figures_that_wells_have(facts, field):
    well = a.a_well(a.a_rig())
    error = refused(lambda: a.a_section(well, **facts))
    assert error.field == field
    assert error.remedy


@pytest.mark.parametrize("method", ["pore-gas", "fracture-gas", "lesser", ""])
@pytest.mark.parametrize(
    "facts",
    [
        {"mud_weight": "14 lb/gal", "fracture_gradient": "0.70 psi/ft"},
        {"mud_weight": None, "pore_gradient": "0.72 psi/ft", "fracture_gradient": "0.70 psi/ft"},
        {"mud_weight": "11.8 lb/gal", "fracture_gradient": "0.58 psi/ft"},
    ],
)
def test_a_shoe_that_would_break_under_mud_or_formation_is_refused_by_every_method(method, facts):
    """By the lesser of both methods it would have given a MASP that is dangerously low."""
    well = a.a_well(a.a_rig())
    error = refused(lambda: a.a_section(well, masp_method=method, **facts))
    assert error.field == "fracture_gradient"
    assert "dangerously low" in error.reason


def test_a_weak_shoe_is_refused_beside_an_entered_masp_too():
    section = a.a_section(a.a_well(a.a_rig()))
    error = refused(
        lambda: wells.amend_section(
            section,
            masp_basis="entered",
            masp="4000 psi",
            masp_reason="Programme.",
            fracture_gradient="0.3 psi/ft",
            **DEMO,
        )
    )
    assert error.field == "fracture_gradient"
    assert str(HoleSection.objects.get(pk=section.pk).masp) == "5,000 psi"


@pytest.mark.parametrize("written", ["14.2 lb/gal", "1.7 SG", "0.74 psi/ft", "16.7 kPa/m", "1702 kg/m^3"])
def test_a_fracture_gradient_is_taken_as_it_was_written_down(written):
    section = a.a_section(a.a_well(a.a_rig()), fracture_gradient=written, masp_method="fracture-gas")
    assert str(section.fracture_gradient).replace(",", "") == written
    assert section.masp.si == pytest.approx(26.5e6, rel=0.01)


def test_mud_lighter_than_the_pore_pressure_is_taken_and_known():
    """Drilled underbalanced on purpose, or a slip: the page warns, the action takes it."""
    well = a.a_well(a.a_rig())
    assert wells_queries.is_underbalanced(a.a_section(well, mud_weight="9 lb/gal"))
    assert not wells_queries.is_underbalanced(a.a_section(well, mud_weight="11.8 lb/gal"))
    assert not wells_queries.is_underbalanced(a.a_section(well, mud_weight=None))


@pytest.mark.parametrize(
    ("kind", "group"),
    [("choke-valve", "bore"), ("kill-valve", "bore"), ("kelly-valve", "bore"), ("pipe-ram", "choke-side")],
)
def test_a_position_takes_only_what_can_stand_there(kind, group):
    stack = a.a_stack(a.a_rig(), positions=())
    error = refused(lambda: a.a_position(stack, kind, group=group))
    assert error.field == "group"
    assert error.remedy
