"""The end of a test: concluding it, discarding a draft, signing it, correcting what was signed."""

from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from equipment.queries.access import Right
from tests_app.actions import pressure_tests, signing, superseding
from tests_app.models import Record, Signature
from tests_app.queries import records
from tests_app.queries.capacities import capacities_of
from tests_app.queries.open_points import open_points
from tests_app.queries.signatories import signatories_of, signed_already
from tests_app.web.bank_page import picture_of
from tests_app.web.closing_forms import CorrectForm, SignForm
from tests_app.web.content_shown import content_shown
from tests_app.web.draft_pages import draft_page
from tests_app.web.entry import Visit, signed_in
from tests_app.web.evidence_forms import ReasonForm
from tests_app.web.once import once
from tests_app.web.posted import page_of, posted, to_record
from tests_app.web.record_page import WHOLE, conclude_form
from tests_app.web.refusals import attempt, status_of


@posted(to_record)
@signed_in
def conclude(request: HttpRequest, pk: int) -> HttpResponse:
    """Say when the test was over."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    form = conclude_form(visit, record, list(records.steps_of(record)), request.POST)
    if form.is_valid():
        concluded_at = form.concluded_after(record)
        done = attempt(
            form,
            lambda: pressure_tests.conclude(record, concluded_at=concluded_at, by=visit.user, at=visit.at),
        )
        if done is not None:
            return redirect("tests_app:record", record.pk)
    return draft_page(request, visit, record, {("conclude", WHOLE): form})


@posted(to_record)
@signed_in
def discard(request: HttpRequest, pk: int) -> HttpResponse:
    """Discard a draft."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    form = ReasonForm(request.POST, prefix="discard")
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        done = attempt(form, lambda: pressure_tests.discard_record(record, reason=reason, by=visit.user, at=visit.at))
        if done is not None:
            messages.success(request, f"Test {record.number} is discarded. It stays on file.")
            return redirect("tests_app:records", record.rig_id)
    return draft_page(request, visit, record, {("discard", WHOLE): form})


@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
@signed_in
def sign(request: HttpRequest, pk: int) -> HttpResponse:
    """Show everything that will be sealed, and take the signature."""
    record = records.record_for(request.user, pk, needs=Right.SIGN)
    visit = Visit.of(request, record.rig)
    why_not = _why_not(visit, record)
    if why_not:
        messages.warning(request, why_not)
        return redirect("tests_app:record", record.pk)
    signatories = signatories_of(record)
    own = capacities_of(visit.user, visit.rig)
    capacities = signatories.capacities_for(own)
    initial = {"version": record.version, "role": capacities[0] if capacities else ""}
    form = SignForm(request.POST if request.method == "POST" else None, capacities=capacities, initial=initial)
    if form.is_valid() and _signed(visit, record, form) is not None:
        return _after_signing(request, visit, record)
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    context = {**_sign_context(visit, record, form), "signatories": signatories, "last": signatories.seals_with(own)}
    return visit.show(request, "tests_app/sign.html", context, status=status)


def _why_not(visit: Visit, record: Record) -> str:
    """Return why the record takes no signature of this person, in words; empty when it does."""
    already = signed_already(record, visit.user)
    if already is not None:
        return str(already)
    if record.discarded_at is not None:
        return f"Test {record.number} was discarded: there is nothing to sign."
    later = getattr(record, "superseded_by", None)
    return f"Test {record.number} was found wrong: sign its correction, test {later.number}." if later else ""


def _after_signing(request: HttpRequest, visit: Visit, record: Record) -> HttpResponse:
    signed = records.record_for(visit.user, record.pk)
    if signed.sealed_at is not None:
        messages.success(request, f"Test {record.number} is signed and sealed.")
        return redirect(page_of(record, "certificate"))
    needed = ", ".join(one.words for one in signatories_of(signed).open)
    messages.success(request, f"Test {record.number} is signed. Still to sign: {needed}.")
    return redirect(page_of(record, "signatures"))


def _signed(visit: Visit, record: Record, form: SignForm) -> Signature | None:
    given = form.cleaned_data
    return attempt(
        form,
        lambda: signing.sign_record(
            record,
            role=given["role"],
            password=given["password"],
            version=given["version"],
            by=visit.user,
            at=visit.at,
        ),
    )


def _sign_context(visit: Visit, record: Record, form: SignForm) -> dict[str, Any]:
    stands = records.record_for(visit.user, record.pk, needs=Right.SIGN)
    # What is frozen was complete when it was: it is shown as it will be sealed.
    missing = [] if stands.frozen_at else [point for point in open_points(stands) if point.blocks]
    content = content_shown(stands, visit.at)
    return {
        "record": record,
        "form": form,
        "missing": missing,
        "content": content,
        "live_picture": picture_of(visit, stands) if content else None,
        "seen_version": stands.version,
        "signer": visit.user.name_shown,
    }


@require_http_methods(["GET", "POST"])
@signed_in
@once
def correct(request: HttpRequest, pk: int) -> HttpResponse:
    """Open a draft that corrects a signed record."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    form = CorrectForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        draft = attempt(form, lambda: superseding.supersede_record(record, reason=reason, by=visit.user, at=visit.at))
        if draft is not None:
            stands = "counts until it is sealed" if record.sealed_at else "takes no signatures any more"
            messages.success(
                request,
                f"Test {draft.number} is a copy to be corrected. Test {record.number} {stands}.",
            )
            return redirect("tests_app:record", draft.pk)
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    return visit.show(request, "tests_app/correct.html", {"record": record, "form": form}, status=status)
