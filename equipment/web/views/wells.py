"""Pages of wells and hole sections."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from equipment.actions import wells as actions
from equipment.errors import Refused
from equipment.models import HoleSection, MaspBasis, Rig, Well
from equipment.queries import access, history, masp
from equipment.queries import wells as queries
from equipment.queries.access import Right
from equipment.web.door import signed_in
from equipment.web.forms.wells import SectionForm, WellForm
from equipment.web.story import told
from equipment.web.visit import Visit


@signed_in
@require_http_methods(["GET"])
def show_wells(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """List a rig's wells."""
    rig = access.rig_for(request.user, rig_pk)
    return Visit.of(request, rig).show("equipment/wells.html", {"wells": queries.wells_of(rig)})


@signed_in
@require_http_methods(["GET", "POST"])
def register_well(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Register a well."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.MANAGE)
    visit = Visit.of(request, rig)
    form = WellForm(request.POST or None, units=visit.units)
    return visit.fill_in(
        form,
        lambda: actions.register_well(rig, **form.facts, by=visit.user, at=visit.at),
        done="The well is registered. Add its hole sections.",
        leads_to=_well_address,
        words={"title": "New well", "verb": "Register the well", **_way(rig)},
    )


@signed_in
@require_http_methods(["GET"])
def show_well(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a well with its sections, each MASP with its working."""
    well = queries.well_for(request.user, pk)
    visit = Visit.of(request, well.rig)
    sections = [
        {
            "row": section,
            "steps": masp.shown_steps(section, visit.units),
            "underbalanced": queries.is_underbalanced(section),
        }
        for section in well.sections.all()
    ]
    context = {"well": well, "sections": sections, "told": told(history.of_well(well)), **_way(well.rig)}
    return visit.show("equipment/well.html", {**context, "subsea": masp.is_subsea(well.rig)})


@signed_in
@require_http_methods(["GET", "POST"])
def amend_well(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend a well."""
    well = queries.well_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, well.rig)
    form = WellForm(request.POST or None, row=well, units=visit.units)
    return visit.fill_in(
        form,
        lambda: actions.amend_well(well, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done=lambda amended: f"The well is amended. {_reworked(well, amended)}".strip(),
        leads_to=_well_address,
        words={"title": f"Amend {well.name}", "verb": "Save", **_way(well.rig, well)},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def add_section(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a hole section."""
    well = queries.well_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, well.rig)
    form = SectionForm(request.POST or None, zone=well.rig.zone, units=visit.units)
    return visit.fill_in(
        form,
        lambda: actions.add_section(well, **form.facts, by=visit.user, at=visit.at),
        done="The section is added.",
        leads_to=lambda section: _well_address(section.well),
        words={"title": "New hole section", "verb": "Add the section", **_sum(well, None), **_way(well.rig, well)},
        template="equipment/section_form.html",
    )


@signed_in
@require_http_methods(["GET", "POST"])
def amend_section(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend a hole section."""
    section = queries.section_for(request.user, pk, needs=Right.MANAGE)
    well = section.well
    visit = Visit.of(request, well.rig)
    form = SectionForm(request.POST or None, row=section, zone=well.rig.zone, units=visit.units)
    return visit.fill_in(
        form,
        lambda: actions.amend_section(section, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done="The section is amended.",
        leads_to=lambda amended: _well_address(amended.well),
        words={"title": f"Amend {section.name}", "verb": "Save", **_sum(well, section), **_way(well.rig, well)},
        template="equipment/section_form.html",
    )


@signed_in
@require_http_methods(["POST"])
def work_out(request: HttpRequest, pk: int) -> HttpResponse:
    """Work the MASP out from what stands in the form, without saving anything: a part of the page, for htmx."""
    well = queries.well_for(request.user, pk)
    visit = Visit.of(request, well.rig)
    form = SectionForm(request.POST, zone=well.rig.zone, units=visit.units)
    return visit.show("equipment/section_sum.html", _answer(form, well, visit))


def _answer(form: SectionForm, well: Well, visit: Visit) -> dict[str, Any]:
    form.is_valid()
    if form.cleaned_data.get("masp_basis") == MaspBasis.ENTERED:
        return {"entered": form.cleaned_data.get("masp")}
    unread = [form[name].label for name in form.SUM_FIELDS if name in form.errors]
    if unread:
        return {"unread": unread}
    figures = {name: form.cleaned_data.get(name) for name in (*form.SUM_FIELDS, "masp_method")}
    tried = masp.with_figures(well, figures)
    try:
        found = masp.worked_out(tried, subsea=masp.is_subsea(well.rig))
    except Refused as refused:
        return {"refused": refused, "field": form.fields.get(refused.field)}
    warned = queries.is_underbalanced(tried)
    return {"found": found, "steps": masp.steps_in(found.working, visit.units), "underbalanced": warned}


def _sum(well: Well, section: HoleSection | None) -> dict[str, Any]:
    return {"well": well, "hole_section": section, "sum_address": reverse("equipment:section-sum", args=[well.pk])}


def _reworked(before: Well, amended: Well) -> str:
    """Return which sections have another MASP than before, in words; empty when none has."""
    was = {section.pk: str(section.masp or "not yet known") for section in before.sections.all()}
    changed = [section for section in amended.sections.order_by("order") if str(section.masp) != was[section.pk]]
    figures = ", ".join(f"{section.name}: {section.masp}, before {was[section.pk]}" for section in changed)
    if not figures:
        return ""
    return f"The MASP of its sections was worked out anew ({figures}); open tests made for them follow."


def _well_address(well: Well) -> str:
    return reverse("equipment:well", args=[well.pk])


def _way(rig: Rig, well: Well | None = None) -> dict[str, Any]:
    wells = reverse("equipment:wells", args=[rig.pk])
    crumbs = [(wells, "Wells")]
    if well is not None:
        crumbs.append((_well_address(well), well.name))
    return {"crumbs": crumbs, "back": crumbs[-1][0], "section": "well"}
