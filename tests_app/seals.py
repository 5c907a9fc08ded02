"""Hashes of seals: canonical JSON (RFC 8785) and its SHA-256, so that anybody can work a seal out again."""

import hashlib
from collections.abc import Mapping
from typing import Any, Final, TypeVar

import rfc8785

_Part = TypeVar("_Part")

ADDED_BY_SEALING: Final = frozenset({"signatures", "sealed_at", "previous_sha256"})
"""A signature stands over the content without these."""


def canonical(content: Any) -> str:
    """Return content as canonical JSON text."""
    return rfc8785.dumps(content).decode("utf-8")


def sha256_of(content: Any) -> str:
    """Return the SHA-256 of content in its canonical form; of a text, as it is."""
    text = content if isinstance(content, str) else canonical(content)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def canonical_parts(content: Mapping[str, Any]) -> dict[str, str]:
    """Return the canonical JSON of each member of an object; `canonical_of_parts` puts them together."""
    return {key: canonical(value) for key, value in content.items()}


def canonical_of_parts(parts: Mapping[str, str]) -> str:
    """Return the canonical JSON of an object from that of its members, whose names are plain ASCII.

    RFC 8785 sorts names by UTF-16 code units, which is Python's own order for ASCII.
    """
    return "{" + ",".join(f"{canonical(key)}:{parts[key]}" for key in sorted(parts)) + "}"


def signed_part(content: Mapping[str, _Part]) -> dict[str, _Part]:
    """Return what a signature stands over: the content without the signatures and the seal's own facts."""
    return {key: value for key, value in content.items() if key not in ADDED_BY_SEALING}
