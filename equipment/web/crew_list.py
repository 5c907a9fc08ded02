"""The list of a rig's crew: its filter and its table."""

from typing import Any

import django_filters
import django_tables2 as tables
from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from equipment.models import CrewMember, CrewRole
from equipment.web.columns import ListTable


class CrewFilter(django_filters.FilterSet):
    """By role, and by what people are called."""

    search = django_filters.CharFilter(method="found", label="Name or user name")
    role = django_filters.ChoiceFilter(choices=CrewRole.choices, label="Role", empty_label="Any")

    class Meta:
        model = CrewMember
        fields: tuple[str, ...] = ()

    def found(self, queryset: QuerySet[CrewMember], _: str, words: str) -> QuerySet[CrewMember]:
        """Keep those in which every word is found."""
        for word in words.split():
            condition = Q()
            for column in ("display_name", "first_name", "last_name", "username"):
                condition |= Q(**{f"person__{column}__icontains": word})
            queryset = queryset.filter(condition)
        return queryset


class CrewTable(ListTable):
    """People with their role on the rig.

    Args:
        administers: whether the reader may change roles.
    """

    person = tables.Column("Person", order_by=("person__display_name", "person__last_name", "person__username"))
    username = tables.Column("User name", accessor="person__username")
    role = tables.Column("Role", accessor="get_role_display", order_by=("role",))
    account = tables.Column("Account", empty_values=(), orderable=False)
    tools = tables.Column(
        "Change",
        empty_values=(),
        orderable=False,
        exclude_from_export=True,
        attrs={"th": {"class": "tools"}, "td": {"class": "tools"}},
    )

    class Meta:
        empty_text = "Nobody passes this filter. Without a role on the rig nobody but a superuser sees it."
        order_by = ("role", "person")

    def __init__(self, *args: Any, administers: bool = False, **options: Any) -> None:
        super().__init__(*args, exclude=() if administers else ("tools",), **options)

    def render_person(self, record: CrewMember) -> str:
        """Return the name as people read it."""
        return record.person.name_shown

    def render_account(self, record: CrewMember) -> str:
        """Return how the account stands, in words."""
        if not record.person.is_active:
            return "Closed"
        return "Not signed in yet" if record.person.must_change_password else "Open"

    def render_tools(self, record: CrewMember) -> SafeString:
        """Return what can be done about the role."""
        return format_html(
            '<span class="nowrap"><a href="{}">Change role</a> &nbsp; <a href="{}">Take off</a></span>',
            reverse("equipment:crew-role", args=[record.pk]),
            reverse("equipment:crew-remove", args=[record.pk]),
        )
