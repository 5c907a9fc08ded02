"""The pages of alerts: a person's own, a rig's, one with its acknowledgement, and the messages that carried them."""

from http import HTTPStatus
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.models import User
from equipment.errors import Refused
from equipment.queries import access
from equipment.queries.access import Right
from equipment.web.lists import listed
from tests_app.actions.answering import LONGEST_NOTE, acknowledge, mark_seen
from tests_app.actions.sending import retry
from tests_app.documents.alert_words import limit_of
from tests_app.mail import kept_mail
from tests_app.models import Channel, Message, Notice
from tests_app.narrowing import NoticeFilter, OwnNoticeFilter
from tests_app.queries import alerts
from tests_app.web.alert_lists import MessageFilter, MessageTable, NoticeTable, OwnNoticeTable
from tests_app.web.alert_words import message_mark, stage_mark, standing_words, told_words
from tests_app.web.calculators import rigs_of
from tests_app.web.entry import Visit, signed_in
from tests_app.web.refusals import attempt, status_of
from tests_app.web.sweep_shown import sweep_shown


class NoteForm(forms.Form):
    """What is being done about it, and whether that goes for all of the same date."""

    note = forms.CharField(
        label="Note",
        max_length=LONGEST_NOTE,
        widget=forms.Textarea({"rows": 3}),
        help_text="What is being done about it, by whom and by when. It stays with the alert.",
        error_messages={"required": "Say what is being done about it, by when."},
    )
    others = forms.BooleanField(required=False, initial=True)

    def __init__(self, posted: Any = None, *, others: int) -> None:
        super().__init__(posted)
        if others:
            words = "the other one" if others == 1 else f"the {others} others"
            self.fields["others"].label = f"Acknowledge {words} of the same stage and date with it"
        else:
            del self.fields["others"]


@require_GET
@signed_in
def show_own(request: HttpRequest) -> HttpResponse:
    """List what a person was told, on all their rigs."""
    assert isinstance(request.user, User)
    at = timezone.now()
    rigs = rigs_of(request)
    found = listed(
        request,
        alerts.own_notices(request.user),
        OwnNoticeTable,
        filter_class=OwnNoticeFilter,
        filter_options={"rigs": access.rigs_visible(request.user)},
        file_name="alerts",
    )
    if found.export is not None:
        return found.export
    context = {**found.context(), **rigs, "unseen": alerts.unseen_count(request.user), "now": at}
    return render(request, "tests_app/alerts.html", context)


@require_POST
@signed_in
def see_all(request: HttpRequest) -> HttpResponse:
    """Note that the person has seen all that is new to them."""
    assert isinstance(request.user, User)
    mark_seen(list(alerts.unseen_by(request.user)), by=request.user, at=timezone.now())
    return redirect("tests_app:alerts")


@require_GET
@signed_in
def show_of_rig(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """List the notices of a rig, whoever was told."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    found = listed(
        request,
        alerts.notices_of(rig),
        NoticeTable,
        filter_class=NoticeFilter,
        table_options={"zone": rig.zone, "units": visit.units},
        file_name=f"alerts-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    context = {**found.context(), **sweep_shown(rig, visit.at), "section": "alerts"}
    return visit.show(request, "tests_app/rig_alerts.html", context)


@require_http_methods(["GET", "POST"])
@signed_in
def show(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one notice: what it said, who was told; and take its acknowledgement."""
    notice = alerts.notice_for(request.user, pk, to_acknowledge=request.method == "POST")
    visit = Visit.of(request, notice.rig)
    mark_seen([notice.pk], by=visit.user, at=visit.at)
    others = alerts.same_date(notice)
    form = NoteForm(request.POST if request.method == "POST" else None, others=len(others))
    if form.is_valid():
        with_it = others if form.cleaned_data.get("others") else []
        if _acknowledged(visit, form, notice, with_it):
            messages.success(request, "Acknowledged. What is due stays due until it is done.")
            return redirect("tests_app:alert", notice.pk)
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    return visit.show(request, "tests_app/alert.html", {**_shown(visit, notice), "form": form}, status=status)


def _acknowledged(visit: Visit, form: NoteForm, notice: Notice, others: list[Notice]) -> bool:
    note = form.cleaned_data["note"]
    attempt(form, lambda: acknowledge(notice, note=note, also=others, by=visit.user, at=visit.at))
    return not form.errors


def _shown(visit: Visit, notice: Notice) -> dict[str, Any]:
    deliveries = notice.deliveries.select_related("person", "message").order_by("pk")
    mark, words = stage_mark(notice)
    return {
        "notice": notice,
        "mark": mark,
        "stage": words,
        "limit": limit_of(notice, visit.rig.zone),
        "stands": standing_words(notice),
        "told": [(one, told_words(one, visit.at)) for one in deliveries],
        "may_acknowledge": alerts.may_acknowledge(visit.user, visit.rig),
        "section": "alerts",
    }


@require_GET
@signed_in
def show_messages(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """List the mails and web-hook calls of a rig, with their state."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    found = listed(
        request,
        alerts.messages_of(rig),
        MessageTable,
        filter_class=MessageFilter,
        table_options={"zone": rig.zone, "units": visit.units, "at": visit.at},
        file_name=f"messages-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    context = {**found.context(), **sweep_shown(rig, visit.at), "mail_is_kept": alerts.mail_is_kept()}
    return visit.show(request, "tests_app/messages.html", {**context, "section": "alerts"})


@require_GET
@signed_in
def show_message(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one message with what it carried; where mail is kept in a folder, the mail itself for who runs the rig."""
    message = alerts.message_for(request.user, pk, needs=Right.READ)
    visit = Visit.of(request, message.rig)
    mark, words = message_mark(message, visit.at)
    administers = visit.may(Right.ADMINISTER)
    context = {
        "message": message,
        "mark": mark,
        "state_words": words,
        "notices": alerts.carried_by(message),
        "may_administer": administers,
        "mail": _kept(message) if administers else None,
        "section": "alerts",
    }
    return visit.show(request, "tests_app/message.html", context)


def _kept(message: Message) -> Any:
    if message.channel != Channel.MAIL or message.sent_at is None or not alerts.mail_is_kept():
        return None
    return kept_mail(message.reference, message.sent_at)


@require_POST
@signed_in
def send_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Try a message again at once."""
    message = alerts.message_for(request.user, pk, needs=Right.ADMINISTER)
    visit = Visit.of(request, message.rig)
    try:
        retry(message, by=visit.user, at=visit.at)
        messages.success(request, "It is tried again now.")
    except Refused as refused:
        messages.error(request, str(refused))
    return redirect("tests_app:message", message.pk)
