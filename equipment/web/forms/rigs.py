"""Forms of rigs and crews."""

from typing import Any

from django import forms

from accounts.models import User
from equipment.models import CrewRole, DisplayUnits, Rig, RigKind
from equipment.queries.rigs import people_outside
from equipment.web.forms.base_form import HouseForm
from equipment.web.zones import zone_choices, zone_names


class RigForm(HouseForm):
    """A rig."""

    name = forms.CharField(label="Name", max_length=80)
    kind = forms.ChoiceField(label="Kind", choices=RigKind.choices)
    time_zone = forms.ChoiceField(
        label="Time zone", help_text="Deadlines run on this clock, summer time included.", choices=zone_choices
    )
    display_units = forms.ChoiceField(
        label="Units",
        help_text="In which pages and certificates show quantities; each is kept as it was entered.",
        choices=DisplayUnits.choices,
        widget=forms.RadioSelect,
        initial=DisplayUnits.US,
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        zone = self.initial.get("time_zone")
        if zone and zone not in zone_names() and zone != "Etc/UTC":
            self.fields["time_zone"].choices = [*zone_choices(), (zone, zone)]  # type: ignore[attr-defined]


class _PersonChoice(forms.ModelChoiceField):
    def label_from_instance(self, obj: Any) -> str:
        """Return name and user name, since two people may share a name."""
        return f"{obj.name_shown} ({obj.get_username()})" if obj.name_shown != obj.get_username() else obj.name_shown


class CrewForm(HouseForm):
    """A person and their role."""

    person = _PersonChoice(label="Person", queryset=None, empty_label="Choose…")
    role = forms.ChoiceField(label="Role", choices=CrewRole.choices)

    def __init__(self, *args: Any, rig: Rig, **options: Any) -> None:
        super().__init__(*args, **options)
        people: forms.ModelChoiceField[User] = self.fields["person"]  # type: ignore[assignment]
        people.queryset = people_outside(rig)


class AccountForm(HouseForm):
    """An account for a person who has none, with their role on the rig."""

    username = forms.CharField(
        label="User name",
        max_length=150,
        widget=forms.TextInput({"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}),
        help_text="What the person signs in with: letters, digits and @ . + - _ only.",
    )
    display_name = forms.CharField(label="Name shown", max_length=120, help_text="As it stands on certificates.")
    email = forms.EmailField(label="E-mail", required=False)
    role = forms.ChoiceField(label="Role on this rig", choices=[("", "Choose…"), *CrewRole.choices])
    password = forms.CharField(
        label="First password",
        strip=False,
        max_length=128,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
        help_text="At least 10 characters, and no usual one. The person has to choose their own at the first sign-in.",
    )
    password_again = forms.CharField(
        label="First password again",
        strip=False,
        max_length=128,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, Any]:
        """Refuse two passwords that differ."""
        found: dict[str, Any] = super().clean() or self.cleaned_data
        first, again = found.get("password"), found.get("password_again")
        if first and again and first != again:
            self.add_error("password_again", "The two passwords differ. Enter the same one twice.")
        return found

    @property
    def facts(self) -> dict[str, Any]:
        """Return the cleaned values as the action takes them."""
        return {name: value for name, value in super().facts.items() if name != "password_again"}


class RoleForm(HouseForm):
    """Another role for the same person."""

    role = forms.ChoiceField(label="Role", choices=CrewRole.choices)


class ReasonForm(HouseForm):
    """A step that only needs its reason."""

    reason = forms.CharField(label="Reason", max_length=200, widget=forms.TextInput({"autocomplete": "off"}))
