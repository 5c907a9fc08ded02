"""Who calls: a person by their token, or by the session of their browser; and how often."""

from typing import Any, Final

from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request
from rest_framework.throttling import SimpleRateThrottle

from accounts.models import Reach, User
from equipment.actions.tokens import note_token_used
from equipment.errors import NotAllowed
from equipment.models import AccessToken
from equipment.queries.tokens import token_of

_SCHEME: Final = "Bearer"
_LONGEST: Final = 200


class TokenAuthentication(BaseAuthentication):
    """``Authorization: Bearer <token>``: the person whose token it is, within what the token reaches."""

    def authenticate(self, request: Request) -> tuple[User, AccessToken] | None:
        """Return the person and the token; None without the header. Raises AuthenticationFailed."""
        scheme, _, word = get_authorization_header(request).decode("latin-1").partition(" ")
        if scheme.lower() != _SCHEME.lower():
            return None
        at = timezone.now()
        token = token_of(word.strip(), at=at) if len(word) <= _LONGEST else None
        if token is None:
            raise AuthenticationFailed("This token is not known, was revoked or has run out. Make one on your profile.")
        person: User = token.person
        note_token_used(token, by=person, at=at)
        person.reach = Reach(rig=token.rig_id, writes=token.writes)  # type: ignore[misc] # of this request alone
        return person, token

    def authenticate_header(self, request: Request) -> str:
        """Return how to sign in, so that nobody signed in is answered 401."""
        return f'{_SCHEME} realm="api"'


class TokenDescribed(OpenApiAuthenticationExtension):
    """How the description of the API names the token."""

    target_class = TokenAuthentication
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        """Return how it is sent."""
        return {"type": "http", "scheme": "bearer", "description": "Made on the profile page, shown once."}


class MayAct(BasePermission):
    """Somebody signed in, under a password of their own, with a token that writes where something is written."""

    def has_permission(self, request: Request, view: Any) -> bool:
        """Tell whether somebody is signed in; raises NotAllowed for what the token or the password stands against."""
        user = request.user
        if not isinstance(user, User):
            return False
        if user.must_change_password:
            raise NotAllowed("Your password was set by somebody else.", "Choose your own on the pages first.")
        if request.method not in SAFE_METHODS and user.reach is not None and not user.reach.writes:
            raise NotAllowed("This token only reads.", "Make one that writes, on your profile.")
        return True


class PersonThrottle(SimpleRateThrottle):
    """How often one person calls, by all their tokens together."""

    scope = "api"

    def get_cache_key(self, request: Request, view: Any) -> str | None:
        """Return the person's key; nobody is counted who is not signed in, for they are refused anyway."""
        return f"throttle-{self.scope}-{request.user.pk}" if request.user.pk else None


class WritingThrottle(PersonThrottle):
    """How often one person writes."""

    scope = "api-writing"

    def allow_request(self, request: Request, view: Any) -> bool:
        """Let every read through."""
        return request.method in SAFE_METHODS or bool(super().allow_request(request, view))


class PasswordThrottle(PersonThrottle):
    """How often one person's password may be tried."""

    scope = "api-password"

    def allow_request(self, request: Request, view: Any) -> bool:
        """Let every read through."""
        return request.method in SAFE_METHODS or bool(super().allow_request(request, view))
