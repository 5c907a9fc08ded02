"""Pages of rigs and their crews."""

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from equipment.actions import people
from equipment.actions import rigs as actions
from equipment.errors import NotAllowed
from equipment.models import CrewMember, Rig
from equipment.queries import access, history
from equipment.queries import rigs as queries
from equipment.queries.access import Right
from equipment.web.crew_list import CrewFilter, CrewTable
from equipment.web.door import signed_in
from equipment.web.forms.rigs import AccountForm, CrewForm, ReasonForm, RigForm, RoleForm
from equipment.web.lists import listed
from equipment.web.story import told
from equipment.web.visit import Visit


@signed_in
@require_http_methods(["GET"])
def show_rigs(request: HttpRequest) -> HttpResponse:
    """List the rigs the person may see: what each is, and how much stands on it."""
    visit = Visit.of(request)
    may_register = access.may_register_rigs(visit.user)
    context = {"rig_list": queries.rig_list(visit.user), "may_register": may_register, "section": "rigs"}
    return visit.show("equipment/rigs.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def register_rig(request: HttpRequest) -> HttpResponse:
    """Register a rig."""
    visit = Visit.of(request)
    if not access.may_register_rigs(visit.user):
        raise NotAllowed("Your role does not allow you to register rigs.", "An administrator of a rig can.")
    form = RigForm(request.POST or None)
    return visit.fill_in(
        form,
        lambda: actions.register_rig(**form.facts, by=visit.user, at=visit.at),
        done="The rig is registered.",
        leads_to=lambda rig: reverse("equipment:crew", args=[rig.pk]),
        words={
            "title": "New rig",
            "lead": "Its crew comes next: who may see it, and in which role.",
            "verb": "Register the rig",
            "crumbs": [(reverse("equipment:rigs"), "Rigs")],
            "back": reverse("equipment:rigs"),
        },
    )


@signed_in
@require_http_methods(["GET", "POST"])
def amend_rig(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Amend a rig."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.ADMINISTER)
    visit = Visit.of(request, rig)
    form = RigForm(request.POST or None, row=rig)
    return visit.fill_in(
        form,
        lambda: actions.amend_rig(rig, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done="The rig is amended.",
        leads_to=lambda _: reverse("equipment:rigs"),
        words={
            "title": f"Amend {rig.name}",
            "lead": "A new time zone moves every deadline of the rig.",
            "verb": "Save",
            "crumbs": [(reverse("equipment:rigs"), "Rigs")],
            "back": reverse("equipment:rigs"),
        },
    )


@signed_in
@require_http_methods(["GET", "POST"])
def show_crew(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """List a rig's crew, filtered, sorted, paged and exported; and give people a role."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.ADMINISTER if request.method == "POST" else Right.READ)
    visit = Visit.of(request, rig)
    found = listed(
        request,
        queries.crew_of(rig),
        CrewTable,
        filter_class=CrewFilter,
        table_options={**visit.table_options, "administers": Right.ADMINISTER in visit.rights},
        file_name=f"crew-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    form = CrewForm(request.POST or None, rig=rig)
    return visit.fill_in(
        form,
        lambda: actions.add_crew_member(rig, **form.facts, by=visit.user, at=visit.at),
        done="The person has the role from now on.",
        leads_to=lambda _: _crew_address(rig),
        words={
            **found.context(),
            "told": told(history.of_rig(rig)),
            "roles": access.RIGHTS_IN_WORDS,
            "section": "crew",
        },
        template="equipment/crew.html",
    )


@sensitive_post_parameters("password", "password_again")
@signed_in
@require_http_methods(["GET", "POST"])
def open_account(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Open an account for a person who has none, with a role on the rig."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.ADMINISTER)
    visit = Visit.of(request, rig)
    form = AccountForm(request.POST or None)
    return visit.fill_in(
        form,
        lambda: people.open_account(rig, **form.facts, by=visit.user, at=visit.at),
        done="The account is open. Hand over user name and first password; the person chooses their own.",
        leads_to=lambda _: _crew_address(rig),
        words={
            "title": "New account",
            "lead": f"For a person who has none yet. Who has one is given a role on the crew page of {rig.name}.",
            "verb": "Open the account",
            "crumbs": [(reverse("equipment:rigs"), "Rigs"), (_crew_address(rig), f"Crew of {rig.name}")],
            "back": _crew_address(rig),
            "section": "crew",
        },
    )


@signed_in
@require_http_methods(["GET", "POST"])
def change_role(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a person's role."""
    member = queries.crew_member_for(request.user, pk, needs=Right.ADMINISTER)
    visit = Visit.of(request, member.rig)
    form = RoleForm(request.POST or None, row=member)
    return visit.fill_in(
        form,
        lambda: actions.change_crew_role(member, role=form.cleaned_data["role"], by=visit.user, at=visit.at),
        done="The role is changed.",
        leads_to=lambda _: _crew_address(member.rig),
        words=_member_words(member, f"Role of {member.person}", "Save"),
    )


@signed_in
@require_http_methods(["GET", "POST"])
def remove_member(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a person off the rig."""
    member = queries.crew_member_for(request.user, pk, needs=Right.ADMINISTER)
    visit = Visit.of(request, member.rig)
    form = ReasonForm(request.POST or None)
    own = member.person == visit.user
    return visit.fill_in(
        form,
        lambda: actions.remove_crew_member(member, **form.facts, by=visit.user, at=visit.at),
        done="The person no longer sees the rig.",
        leads_to=lambda _: reverse("equipment:rigs") if own else _crew_address(member.rig),
        words={
            **_member_words(member, f"Take {member.person} off {member.rig.name}", "Take off the rig"),
            "lead": "What they did and signed stays under their name.",
            "danger": True,
        },
    )


def _crew_address(rig: Rig) -> str:
    return reverse("equipment:crew", args=[rig.pk])


def _member_words(member: CrewMember, title: str, verb: str) -> dict[str, object]:
    crew = _crew_address(member.rig)
    return {
        "title": title,
        "verb": verb,
        "crumbs": [(reverse("equipment:rigs"), "Rigs"), (crew, f"Crew of {member.rig.name}")],
        "back": crew,
        "section": "crew",
    }
