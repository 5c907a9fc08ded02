"""Sign in, sign out, profile, password, and the page that shows the design system."""

from http import HTTPStatus

from django.contrib import messages
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.mixins import LoginRequiredMixin
from django.contrib.auth.views import LoginView, LogoutView, PasswordChangeView
from django.forms import BaseForm, ModelForm
from django.http import HttpRequest, HttpResponse
from django.urls import reverse_lazy
from django.utils.decorators import method_decorator
from django.views.decorators.debug import sensitive_post_parameters
from django.views.generic import UpdateView

from accounts.models import User
from accounts.queries import own_account
from accounts.web.forms import ChangePasswordForm, ProfileForm, SignInForm


class RefusedFormMixin:
    """Answer a refused form with 422 and the form as typed, so that a program sees it failed as a person does."""

    def form_invalid(self, form: BaseForm) -> HttpResponse:
        response: HttpResponse = super().form_invalid(form)  # type: ignore[misc]
        response.status_code = HTTPStatus.UNPROCESSABLE_ENTITY
        return response


class SignIn(RefusedFormMixin, LoginView):
    """Sign in; `next` is followed only to this same host, which Django's view checks."""

    template_name = "accounts/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True


class SignOut(LogoutView):
    """Sign out, by POST only: a link or image elsewhere must not end a person's session."""

    next_page = "sign-in"

    def post(self, request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
        response = super().post(request, *args, **kwargs)
        messages.success(request, "You are signed out.")
        return response


class Profile(LoginRequiredMixin, RefusedFormMixin, UpdateView):
    """A person's own name and units."""

    template_name = "accounts/profile.html"
    # By default the edited copy would stand as "user" in the template and show unsaved words in the page head.
    context_object_name = "account"
    form_class = ProfileForm
    success_url = reverse_lazy("profile")

    def get_object(self, queryset: object = None) -> User:
        return own_account(self.request.user)

    def form_valid(self, form: "ModelForm[User]") -> HttpResponse:
        messages.success(self.request, "Your profile is saved.")
        return super().form_valid(form)


@method_decorator(sensitive_post_parameters(), name="dispatch")
class ChangePassword(RefusedFormMixin, PasswordChangeView):
    """Change one's own password; the session stays, other sessions of the same person end."""

    template_name = "accounts/password_change.html"
    form_class = ChangePasswordForm
    success_url = reverse_lazy("profile")

    def form_valid(self, form: PasswordChangeForm) -> HttpResponse:
        form.user.must_change_password = False
        messages.success(
            self.request, "Your password is changed. Other places where you were signed in are signed out."
        )
        return super().form_valid(form)
