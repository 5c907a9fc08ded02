"""The page on which a rig chooses whom it tells, when, and by what; and the test message."""

from typing import Final

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from equipment.errors import Refused
from equipment.queries import access
from equipment.queries.access import Right
from tests_app.actions.alert_choices import choose_alerts
from tests_app.actions.sending import send_trial
from tests_app.models import AlertSettings
from tests_app.queries import alerts
from tests_app.web.alert_form import AlertForm, stages_text
from tests_app.web.entry import Visit, signed_in
from tests_app.web.refusals import attempt, status_of
from tests_app.web.sweep_shown import sweep_shown
from tests_app.web_hooks import host_of
from trail.models import TrailEntry


@sensitive_post_parameters("hook_secret")
@require_http_methods(["GET", "POST"])
@signed_in
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show how the rig tells whom; let those who run the rig choose."""
    needs = Right.ADMINISTER if request.method == "POST" else Right.READ
    rig = access.rig_for(request.user, rig_pk, needs=needs)
    visit = Visit.of(request, rig)
    chosen = alerts.settings_of(rig)
    form = AlertForm(request.POST if request.method == "POST" else None, chosen=chosen, crew=alerts.people_on(rig))
    if form.is_valid() and _chosen(visit, form) is not None:
        messages.success(request, "Saved. The next sweep tells by it.")
        return redirect("tests_app:alert-settings", rig.pk)
    return visit.show(
        request,
        "tests_app/alert_settings.html",
        {**_shown(visit, chosen), "form": form},
        status=status_of(form) if form.is_bound else 200,
    )


def _chosen(visit: Visit, form: AlertForm) -> AlertSettings | None:
    facts = dict(form.facts)
    people = list(facts.pop("people"))
    return attempt(form, lambda: choose_alerts(visit.rig, people=people, by=visit.user, at=visit.at, **facts))


def _shown(visit: Visit, chosen: AlertSettings) -> dict[str, object]:
    return {
        **sweep_shown(visit.rig, visit.at),
        "chosen": chosen,
        "is_usual": chosen._state.adding,
        "stages": stages_text(chosen.hours_before),
        "long_stages": stages_text(chosen.long_hours_before),
        "told": alerts.told_on(visit.rig, chosen),
        "managers": alerts.escalated_to(visit.rig),
        "hook_host": host_of(chosen.hook_url),
        "mail_is_kept": alerts.mail_is_kept(),
        "mail_is_set": alerts.mail_is_set(),
        "may_administer": visit.may(Right.ADMINISTER),
        "may_acknowledge": alerts.may_acknowledge(visit.user, visit.rig),
        "changes": [(one, _differing(one)) for one in alerts.changes_of(chosen)],
        "section": "alerts",
    }


def _differing(entry: TrailEntry) -> str:
    """Return what a change was about, in words."""
    before, after = entry.before or {}, entry.after or {}
    named = [words for name, words in _NAMES.items() if before.get(name) != after.get(name)]
    return ", ".join(named) if entry.before else "first choice"


_NAMES: Final = {
    "hours_before": "stages of tests",
    "long_hours_before": "stages of what takes weeks",
    "each_day_overdue": "each day overdue",
    "roles": "roles told",
    "people": "people told",
    "by_mail": "e-mail",
    "quiet_from": "begin of quiet hours",
    "quiet_until": "end of quiet hours",
    "urgent_in_quiet": "what breaks quiet hours",
    "digest_at": "hour of the digest",
    "escalate_after_hours": "wait before escalation",
    "escalate_from_hours": "what is escalated",
    "hook_url": "web hook",
    "hook_secret": "whether the web hook has a secret",
}


@require_POST
@signed_in
def send_test(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Send a test message to the person who asks, or to the web hook."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.ADMINISTER)
    visit = Visit.of(request, rig)
    try:
        message = send_trial(
            rig, person=None if request.POST.get("to") == "hook" else visit.user, by=visit.user, at=visit.at
        )
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect("tests_app:alert-settings", rig.pk)
    messages.success(request, "The test message is on its way; this page shows whether it was taken.")
    return redirect("tests_app:message", message.pk)
