"""Forms of sign-in and profile."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm
from django.core.exceptions import ValidationError

from accounts.models import User


class SignInForm(AuthenticationForm):
    """Name and password; a refusal doesn't tell which of the two was wrong, nor whether the name exists."""

    error_messages = {
        "invalid_login": "This user name and password do not match. Check both; capital and small letters differ. "
        "Whoever administers the rig's accounts can set a new password.",
        "inactive": "This account is closed. Whoever administers the rig's accounts can open it again.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "User name"
        for name, field in self.fields.items():
            field.error_messages["required"] = f"Enter your {'user name' if name == 'username' else 'password'}."

    def clean(self) -> dict[str, Any]:
        """Put the refusal beside the password, where the person will type again."""
        try:
            return super().clean()
        except ValidationError as error:
            self.add_error("password", error)
            return self.cleaned_data


class ProfileForm(forms.ModelForm):
    """What a person may change about themselves."""

    class Meta:
        model = User
        fields = ["display_name", "first_name", "last_name", "email", "display_units"]
        labels = {"display_units": "Units shown", "email": "E-mail"}
        help_texts = {
            "display_units": "Only what pages show to you. Records keep the units they were written in.",
        }
        widgets = {"display_units": forms.RadioSelect}


class ChangePasswordForm(PasswordChangeForm):
    """The old password, then the new one twice."""

    error_messages = {
        **PasswordChangeForm.error_messages,
        "password_incorrect": "This is not your present password. Enter it again; capital and small letters differ.",
        "password_mismatch": "The two new passwords differ. Enter the same one twice.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["old_password"].label = "Present password"
        self.fields["new_password2"].label = "New password again"
        self.fields["new_password2"].help_text = ""

    def clean(self) -> dict[str, Any]:
        """Refuse the password of before where somebody else set it: they would still know it."""
        found: dict[str, Any] = super().clean() or self.cleaned_data
        new = found.get("new_password2")
        if new and self.user.must_change_password and self.user.check_password(new):
            self.add_error("new_password1", "This is the password somebody else set. Choose another one.")
        return found
