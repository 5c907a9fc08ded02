"""The page of a person's tokens: made and shown once, revoked, nobody else's."""

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from equipment.models import AccessToken
from tests import builders

PAGE = "/profile/tokens/"


@pytest.fixture
def person(db: None):
    return builders.a_person(rig=builders.a_rig())


@pytest.fixture
def signed_in(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def sent(**facts: str) -> dict[str, str]:
    last = (timezone.now() + timedelta(days=30)).date().isoformat()
    return {"name": "Mud logger", "scope": "read", "rig": "", "expires_at": last, **facts}


def test_a_token_is_shown_once_and_opens_what_it_says(signed_in: Client, person):
    rig = person.crew_roles.get().rig
    page = signed_in.post(PAGE, sent(scope="write", rig=str(rig.pk))).content.decode()
    word = re.search(r'<p class="mono">([\w-]{40,})</p>', page)[1]
    assert Client().get("/api/v1/rigs/", headers={"Authorization": f"Bearer {word}"}).status_code == 200
    token = AccessToken.objects.get()
    assert (token.person, token.rig, token.writes) == (person, rig, True)
    again = signed_in.get(PAGE).content.decode()
    assert word not in again
    assert "Mud logger" in again
    signed_in.post(f"{PAGE}{token.pk}/revoke/")
    assert Client().get("/api/v1/rigs/", headers={"Authorization": f"Bearer {word}"}).status_code == 401


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"name": ""}, "Say what uses it."),
        ({"expires_at": "2020-01-01"}, "This moment has passed."),
        ({"expires_at": "2199-01-01"}, "A token lasts 366 days at most."),
        ({"rig": "999999"}, "Select a valid choice"),
    ],
)
def test_what_is_wrong_stands_beside_the_field(signed_in: Client, facts: dict[str, str], said: str):
    answer = signed_in.post(PAGE, sent(**facts))
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not AccessToken.objects.exists()


def test_nobody_sees_or_revokes_another_ones_token(signed_in: Client):
    signed_in.post(PAGE, sent())
    other = Client()
    other.force_login(builders.a_person())
    assert "Mud logger" not in other.get(PAGE).content.decode()
    assert other.post(f"{PAGE}{AccessToken.objects.get().pk}/revoke/").status_code == 404
    assert Client().get(PAGE).status_code == 302
