"""The page of a person's tokens: making one, whose word is shown once, and revoking it."""

from datetime import datetime, time, timedelta
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from accounts.models import User
from equipment.actions.tokens import LONGEST, make_token, revoke_token
from equipment.models import Rig
from equipment.queries import access, tokens
from equipment.web.door import signed_in
from equipment.web.refusals import attempt

_USUAL: Final = timedelta(days=90)
_SCOPES: Final = (("read", "Reads"), ("write", "Reads and writes, within my rights"))


class TokenForm(forms.Form):
    """What a token is for, what it opens, and until when."""

    name = forms.CharField(
        label="What uses it",
        max_length=60,
        widget=forms.TextInput({"class": "medium", "autocomplete": "off"}),
        help_text="Such as Recorder of the test unit, so that you know later which one to revoke.",
        error_messages={"required": "Say what uses it."},
    )
    scope = forms.ChoiceField(label="What it does", choices=_SCOPES, initial="read", widget=forms.RadioSelect)
    rig = forms.ModelChoiceField(
        label="Which rig it opens", queryset=Rig.objects.none(), required=False, empty_label="All rigs I am on"
    )
    expires_at = forms.DateField(
        label="Last day",
        widget=forms.DateInput({"type": "date"}),
        help_text=f"In UTC; {LONGEST.days} days from now at most.",
        error_messages={"required": "Say until when.", "invalid": "Give a day, such as 2026-06-30."},
    )

    def __init__(self, posted: Any = None, *, user: User, at: datetime) -> None:
        super().__init__(posted, initial={"expires_at": (at + _USUAL).date()})
        rigs: forms.ModelChoiceField[Rig] = self.fields["rig"]  # type: ignore[assignment]
        rigs.queryset = access.rigs_visible(user)

    def end(self) -> datetime:
        """Return when it runs out: the end of its last day."""
        day = self.cleaned_data["expires_at"] + timedelta(days=1)
        return datetime.combine(day, time(), tzinfo=timezone.get_current_timezone())


@never_cache
@require_http_methods(["GET", "POST"])
@signed_in
def show(request: HttpRequest) -> HttpResponse:
    """Show a person's tokens, and make one: its word is shown this once."""
    assert isinstance(request.user, User)
    user, at = request.user, timezone.now()
    form = TokenForm(request.POST if request.method == "POST" else None, user=user, at=at)
    made = _made(form, user, at) if form.is_valid() else None
    rigs = list(access.rigs_visible(user))
    context = {
        "rigs": rigs,
        "rig": rigs[0] if len(rigs) == 1 else None,
        "form": TokenForm(user=user, at=at) if made else form,
        "tokens": tokens.tokens_of(user),
        "made": made[0] if made else None,
        "word": made[1] if made else "",
        "now": at,
    }
    return render(request, "equipment/tokens.html", context, status=422 if form.is_bound and made is None else 200)


def _made(form: TokenForm, user: User, at: datetime) -> Any:
    given = form.cleaned_data
    return attempt(
        form,
        lambda: make_token(
            name=given["name"],
            rig=given["rig"],
            writes=given["scope"] == "write",
            expires_at=form.end(),
            by=user,
            at=at,
        ),
    )


@require_POST
@signed_in
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    """Revoke one of a person's own tokens."""
    assert isinstance(request.user, User)
    revoke_token(tokens.token_for(request.user, pk), by=request.user, at=timezone.now())
    messages.success(request, "Revoked. It opens nothing any more.")
    return redirect("tokens:own")
