import pytest

from accounts.models import User

PASSWORD = "a-long-enough-one"


@pytest.fixture
def person(db: None) -> User:
    return User.objects.create_user("tester", password=PASSWORD, first_name="Robin", last_name="Example")
