"""Hashes of seals: canonical JSON (RFC 8785) and its SHA-256, so that anybody can work a seal out again."""

import hashlib
from collections.abc import Mapping
from typing import Any, Final

import rfc8785

ADDED_BY_SEALING: Final = frozenset({"signatures", "sealed_at", "previous_sha256"})
"""A signature stands over the content without these."""


def canonical(content: Any) -> str:
    """Return content as canonical JSON text."""
    return rfc8785.dumps(content).decode("utf-8")


def sha256_of(content: Any) -> str:
    """Return the SHA-256 of content in its canonical form; of a text, as it is."""
    text = content if isinstance(content, str) else canonical(content)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def signed_part(content: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a signature stands over: the content without the signatures and the seal's own facts."""
    return {key: value for key, value in content.items() if key not in ADDED_BY_SEALING}
