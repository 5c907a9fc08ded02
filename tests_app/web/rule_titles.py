"""Editions of the rules by their titles, as pages name them."""

from tests_app.queries.edition_titles import edition_named, editions_titled, full_title, rules_followed

__all__ = ["edition_named", "editions_titled", "full_title", "rules_followed"]
