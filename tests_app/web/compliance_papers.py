"""Twelve months of a rig on paper: ordered here, made in the background, shown with how far it is."""

from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from equipment import files
from equipment.models import Rig
from equipment.queries import access
from tests_app.actions.ordered_papers import order_compliance
from tests_app.documents.compliance_sheet import month_choices
from tests_app.models import PaperSize, PaperStep
from tests_app.queries.ordered_papers import SHOWN, being_made, is_late, paper_for, papers_of
from tests_app.web.entry import Visit, signed_in
from tests_app.web.refusals import attempt, status_of


class PaperForm(forms.Form):
    """Which twelve months, on which paper."""

    month = forms.ChoiceField(label="Twelve months to", required=False)
    paper = forms.ChoiceField(label="Paper", choices=PaperSize.choices)

    def __init__(self, *args: Any, months: list[tuple[str, str]], **options: Any) -> None:
        super().__init__(*args, **options)
        self.months = months
        self.fields["month"].choices = months  # type: ignore[attr-defined]

    @property
    def month_asked(self) -> str:
        """Return the last month; the present one where none is given."""
        return self.cleaned_data["month"] or self.months[0][0]


@require_http_methods(["GET", "POST"])
@signed_in
def papers(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show the papers ordered of late, and order one."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    months = month_choices(rig, visit.at)
    posted = request.POST if request.method == "POST" else None
    paper = PaperSize.A4 if visit.units == "si" else PaperSize.LETTER
    form = PaperForm(posted, months=months, initial={"month": request.GET.get("month", ""), "paper": paper})
    if form.is_valid():
        asked = {"month": form.month_asked, "paper": form.cleaned_data["paper"]}
        if attempt(form, lambda: order_compliance(rig, **asked, by=visit.user, at=visit.at)) is not None:
            return redirect("tests_app:compliance-papers", rig.pk)
    status = status_of(form) if form.is_bound else 200
    return visit.show(request, "tests_app/compliance_papers.html", {"form": form, **_state(rig, visit)}, status=status)


@require_GET
@signed_in
def papers_part(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Return the part of the page that waits for what is being made."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    return render(request, "tests_app/parts/compliance_papers.html", {**visit.context(), **_state(rig, visit)})


@require_GET
@signed_in
def paper_file(request: HttpRequest, pk: int) -> HttpResponse:
    """Send a paper as it was made."""
    paper = paper_for(request.user, pk)
    try:
        content = files.fetch(paper.sha256) if paper.step == PaperStep.MADE else None
    except (files.FileMissing, files.FileAltered) as error:
        raise Http404(str(error)) from error
    if content is None:
        raise Http404("This paper is not made yet.")
    headers = {"Content-Disposition": f'inline; filename="compliance-{paper.rig_id}-{paper.month}.pdf"'}
    return HttpResponse(content, content_type="application/pdf", headers=headers)


def _state(rig: Rig, visit: Visit) -> dict[str, Any]:
    shown = list(papers_of(rig)[:SHOWN])
    titles = dict(month_choices(rig, visit.at))
    rows = [
        {"paper": one, "month": titles.get(one.month, one.month), "is_late": is_late(one, at=visit.at)} for one in shown
    ]
    return {"papers": rows, "asks_again": being_made(rig, at=visit.at).exists(), "steps": PaperStep.MADE.value}
