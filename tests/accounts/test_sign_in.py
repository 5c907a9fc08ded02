import pytest
from django.contrib.auth.hashers import identify_hasher
from django.test import Client
from django.urls import reverse

from accounts.models import User

PASSWORD = "a-long-enough-one"


def sign_in(client: Client, **given: str):
    return client.post(reverse("sign-in"), {"username": "tester", "password": PASSWORD, **given})


def test_right_name_and_password_lead_on_to_where_the_person_was_going(client: Client, person: User) -> None:
    assert sign_in(client, next="/profile/").headers["Location"] == "/profile/"
    assert client.session["_auth_user_id"] == str(person.pk)


@pytest.mark.parametrize(
    "elsewhere", ["https://elsewhere.example/", "//elsewhere.example/x", "javascript:alert(1)", "/\\elsewhere.example"]
)
def test_next_never_leads_to_another_host(client: Client, person: User, elsewhere: str) -> None:
    assert sign_in(client, next=elsewhere).headers["Location"] == "/"


@pytest.mark.parametrize("given", [{"password": "wrong"}, {"username": "nobody"}])
def test_a_refusal_stands_beside_the_password_and_tells_not_which_was_wrong(
    client: Client, person: User, given: dict[str, str]
) -> None:
    answer = sign_in(client, **given)
    assert answer.status_code == 422
    errors = answer.context["form"].errors
    assert list(errors) == ["password"]
    assert errors["password"] == [answer.context["form"].error_messages["invalid_login"]]
    assert "id_password_error" in answer.content.decode()


def test_a_refused_sign_in_keeps_the_name_typed_and_the_way_on(client: Client, person: User) -> None:
    page = sign_in(client, password="wrong", next="/profile/").content.decode()
    assert 'value="tester"' in page
    assert '<input type="hidden" name="next" value="/profile/">' in page


def test_an_empty_form_is_refused_field_by_field(client: Client, db: None) -> None:
    errors = client.post(reverse("sign-in"), {}).context["form"].errors
    assert errors == {"username": ["Enter your user name."], "password": ["Enter your password."]}


def test_a_closed_account_cannot_sign_in(client: Client, person: User) -> None:
    User.objects.filter(pk=person.pk).update(is_active=False)
    assert sign_in(client).status_code == 422
    assert "_auth_user_id" not in client.session


def test_signing_out_takes_a_post_and_ends_the_session(client: Client, person: User) -> None:
    client.force_login(person)
    assert client.get(reverse("sign-out")).status_code == 405
    assert "_auth_user_id" in client.session
    answer = client.post(reverse("sign-out"), follow=True)
    assert answer.redirect_chain[-1][0] == reverse("sign-in")
    assert "You are signed out." in answer.content.decode()
    assert "_auth_user_id" not in client.session


def test_sign_in_refuses_a_form_sent_from_another_site(person: User) -> None:
    answer = sign_in(Client(enforce_csrf_checks=True))
    assert answer.status_code == 403
    assert "This form was open too long" in answer.content.decode()


@pytest.mark.parametrize("name", ["profile", "password-change", "style"])
def test_pages_of_a_person_ask_for_sign_in_first(client: Client, db: None, name: str) -> None:
    address = reverse(name)
    assert client.get(address).headers["Location"] == f"{reverse('sign-in')}?next={address}"


def test_production_passwords_are_kept_by_argon2(settings, db: None) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
    kept = User.objects.create_user("argon", password=PASSWORD).password
    assert identify_hasher(kept).algorithm == "argon2"
