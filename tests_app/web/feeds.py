"""Calendar feeds: a person's own addresses, and the feed itself, which is read without signing in."""

import hashlib
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.models import User
from equipment.models import Rig
from tests_app.actions.feeds import keep_calendar, note_use, open_feed, revoke_feed
from tests_app.documents.alert_mails import link_to
from tests_app.documents.calendar_file import calendar_text
from tests_app.queries import calendar_content
from tests_app.web.calculators import rigs_of
from tests_app.web.entry import signed_in
from tests_app.web.refusals import attempt, status_of


class FeedForm(forms.Form):
    """Which deadlines, and where they are to be read."""

    rig = forms.ModelChoiceField(
        label="Deadlines of", queryset=Rig.objects.none(), required=False, empty_label="All rigs I am on"
    )
    name = forms.CharField(
        label="Where it is used",
        max_length=60,
        widget=forms.TextInput({"class": "medium", "autocomplete": "off"}),
        help_text="Such as Phone, so that you know later which one to revoke.",
        error_messages={"required": "Say where it is used, such as Phone."},
    )

    def __init__(self, posted: Any = None, *, user: User) -> None:
        super().__init__(posted)
        rigs: forms.ModelChoiceField[Rig] = self.fields["rig"]  # type: ignore[assignment]
        rigs.queryset = calendar_content.rigs_to_follow(user)


@never_cache
@require_http_methods(["GET", "POST"])
@signed_in
def show(request: HttpRequest) -> HttpResponse:
    """Show a person's feeds, and open one: its address is shown this once."""
    assert isinstance(request.user, User)
    user, at = request.user, timezone.now()
    form = FeedForm(request.POST if request.method == "POST" else None, user=user)
    opened = None
    if form.is_valid():
        given = form.cleaned_data
        opened = attempt(form, lambda: open_feed(given["rig"], name=given["name"], by=user, at=at))
    context = {
        **rigs_of(request),
        "form": FeedForm(user=user) if opened else form,
        "feeds": calendar_content.feeds_of(user),
        "opened": opened[0] if opened else None,
        "address": link_to("tests_app:feed", opened[1]) if opened else "",
        "section": "calendar-feeds",
    }
    status = status_of(form) if form.is_bound and not opened else 200
    return render(request, "tests_app/feeds.html", context, status=status)


@require_POST
@signed_in
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    """Revoke one of a person's own feeds."""
    assert isinstance(request.user, User)
    revoke_feed(calendar_content.feed_for(request.user, pk), by=request.user, at=timezone.now())
    messages.success(request, "Revoked. Its address leads nowhere any more.")
    return redirect("tests_app:calendar-feeds")


@require_safe
def read(request: HttpRequest, token: str) -> HttpResponseBase:
    """Give a feed to whoever has its address; 404 for one that is wrong or revoked, or whose owner left the rig."""
    reader = calendar_content.reader_of(token)
    at = timezone.now()
    for rig in reader.rigs:
        keep_calendar(rig, by=reader.token.person, at=at)
    note_use(reader.token, by=reader.token.person, at=at)
    name = f"{reader.token.rig.name}: deadlines" if reader.token.rig else "Deadlines of my rigs"
    content = calendar_text(name, calendar_content.entries_of(reader.rigs, at=at))
    answer = HttpResponse(
        content,
        content_type="text/calendar; charset=utf-8",
        headers={"Content-Disposition": 'inline; filename="deadlines.ics"', "Cache-Control": "private, no-cache"},
    )
    etag = f'"{hashlib.sha256(content).hexdigest()}"'
    answer["ETag"] = etag
    return get_conditional_response(request, etag=etag, response=answer) or answer
