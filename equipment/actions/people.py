"""Accounts of people who come to a rig."""

from datetime import datetime

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.models import User
from equipment.actions import saving
from equipment.actions.events import Event
from equipment.errors import Refused
from equipment.models import CrewMember, Rig
from trail import entries
from trail.actors import Actor


@transaction.atomic
def open_account(
    rig: Rig,
    *,
    username: str,
    display_name: str,
    role: str,
    password: str,
    email: str = "",
    by: Actor,
    at: datetime,
) -> CrewMember:
    """Open an account for a person and give them a role on the rig.

    The password is a first one: the person has to choose their own before anything opens. Raises ValidationError
    naming the fields at fault, the password among them, and Refused for a user name that is taken.
    """
    saving.aware(at)
    person = User(username=username.strip(), display_name=display_name.strip(), email=email.strip())
    if User.objects.filter(username__iexact=person.username).exists():
        raise Refused(
            "username",
            "An account has this user name already; capital and small letters make no other name.",
            "Choose another one, or give that person a role.",
        )
    _check_password(password, person)
    person.set_password(password)
    person.must_change_password = True
    saving.store_row(person, insert=True)
    member = CrewMember(rig=rig, person=person, role=role)
    saving.store_row(member, insert=True)
    after = {**entries.snapshot(member), "username": person.username, "display_name": person.display_name}
    entries.write(Event.ACCOUNT_OPENED, member, by=by, at=at, rig_number=rig.pk, after=after)
    return member


def _check_password(password: str, person: User) -> None:
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise ValidationError({"password": error.messages}) from error
