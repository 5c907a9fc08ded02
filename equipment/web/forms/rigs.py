"""Forms of rigs and crews."""

import zoneinfo
from typing import Any, Final

from django import forms

from accounts.models import User
from equipment.models import CrewRole, DisplayUnits, Rig, RigKind
from equipment.queries.rigs import people_outside
from equipment.web.forms.base_form import HouseForm

_AREAS: Final = (
    "Africa/",
    "America/",
    "Antarctica/",
    "Asia/",
    "Atlantic/",
    "Australia/",
    "Europe/",
    "Indian/",
    "Pacific/",
)


def zone_choices() -> list[tuple[str, Any]]:
    """Return the zones by area; names kept only for old systems are left out."""
    names = sorted(zoneinfo.available_timezones())
    groups: list[tuple[str, Any]] = [("", "Choose…"), ("Etc/UTC", "UTC, no summer time")]
    for area in _AREAS:
        zones = [(name, name.removeprefix(area).replace("_", " ")) for name in names if name.startswith(area)]
        groups.append((area.rstrip("/"), zones))
    return groups


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
        offered = {name for _, group in zone_choices() if isinstance(group, list) for name, _ in group}
        if zone and zone not in offered and zone != "Etc/UTC":
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


class RoleForm(HouseForm):
    """Another role for the same person."""

    role = forms.ChoiceField(label="Role", choices=CrewRole.choices)


class ReasonForm(HouseForm):
    """A step that only needs its reason."""

    reason = forms.CharField(label="Reason", max_length=200, widget=forms.TextInput({"autocomplete": "off"}))
