import pytest
from django.db import IntegrityError
from django.test import Client
from django.urls import reverse

from accounts.models import User

PASSWORD = "a-long-enough-one"


def profile_of(**changed: str) -> dict[str, str]:
    return {
        "display_name": "",
        "first_name": "Robin",
        "last_name": "Example",
        "email": "",
        "display_units": "",
        **changed,
    }


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ({"display_name": "R. Example", "first_name": "Robin"}, "R. Example"),
        ({"first_name": "Robin", "last_name": "Example"}, "Robin Example"),
        ({"display_name": "  "}, "tester"),
    ],
)
def test_the_name_shown_is_the_best_one_given(given: dict[str, str], shown: str) -> None:
    assert User(username="tester", **given).name_shown == shown
    assert str(User(username="tester", **given)) == shown


@pytest.mark.parametrize(
    ("own", "rig", "units"), [("", "si", "si"), ("us", "si", "us"), ("si", "us", "si"), ("", "", "us")]
)
def test_units_follow_the_person_then_the_rig_then_the_oilfield(own: str, rig: str, units: str) -> None:
    assert User(display_units=own).units_for(rig) == units


def test_the_database_refuses_units_nobody_knows(person: User) -> None:
    with pytest.raises(IntegrityError):
        User.objects.filter(pk=person.pk).update(display_units="xx")


def test_a_saved_profile_is_kept_and_said(client: Client, person: User) -> None:
    client.force_login(person)
    answer = client.post(reverse("profile"), profile_of(display_name="R. Example", display_units="si"), follow=True)
    person.refresh_from_db()
    assert (person.display_name, person.display_units) == ("R. Example", "si")
    assert "Your profile is saved." in answer.content.decode()


def test_a_refused_profile_keeps_what_was_typed_and_leaves_the_page_head_alone(client: Client, person: User) -> None:
    client.force_login(person)
    answer = client.post(reverse("profile"), profile_of(display_name="Typed Name", email="no-address"))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert 'value="Typed Name"' in page
    assert "Signed in as Robin Example" in page
    assert '<a href="#id_email">E-mail</a>' in page


def test_a_person_cannot_make_themselves_staff_through_the_profile(client: Client, person: User) -> None:
    client.force_login(person)
    client.post(reverse("profile"), profile_of(is_staff="on", is_superuser="on", username="root"))
    person.refresh_from_db()
    assert (person.is_staff, person.is_superuser, person.username) == (False, False, "tester")


def test_a_changed_password_keeps_this_session_and_ends_the_others(client: Client, person: User) -> None:
    other = Client()
    other.force_login(person)
    client.force_login(person)
    new = {"old_password": PASSWORD, "new_password1": "another-long-one", "new_password2": "another-long-one"}
    assert client.post(reverse("password-change"), new).headers["Location"] == reverse("profile")
    assert client.get(reverse("profile")).status_code == 200
    assert other.get(reverse("profile")).status_code == 302


def test_a_wrong_present_password_is_refused_beside_its_field(client: Client, person: User) -> None:
    client.force_login(person)
    new = {"old_password": "wrong", "new_password1": "another-long-one", "new_password2": "another-long-one"}
    answer = client.post(reverse("password-change"), new)
    assert answer.status_code == 422
    assert list(answer.context["form"].errors) == ["old_password"]


def test_accounts_cannot_be_deleted_in_the_administration(client: Client, person: User, admin_user: User) -> None:
    client.force_login(admin_user)
    assert client.get(reverse("admin:accounts_user_changelist")).status_code == 200
    assert client.get(reverse("admin:accounts_user_change", args=[person.pk])).status_code == 200
    assert client.post(reverse("admin:accounts_user_delete", args=[person.pk]), {"post": "yes"}).status_code == 403
