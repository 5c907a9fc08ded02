"""Clauses as links to the page that says in our words what stands in them."""

import re
from functools import cache
from typing import Final

from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from calcs.programmes import OWN_CLAUSE
from calcs.rules import ExemptRule, Rule, Source, StatedRule
from calcs.schedule_rules import ScheduledRule
from tests_app import rulebook
from tests_app.models.programmes import MARK

_BETWEEN: Final = "; "
"""What stands between the clauses of a figure that rests on several."""


def anchor_of(clause: str) -> str:
    """Return the anchor of a clause on the page of its edition.

    >>> anchor_of("30 CFR 250.737(a)(2)")
    'clause-30-cfr-250-737-a-2'
    """
    return "clause-" + re.sub(r"[^a-z0-9]+", "-", clause.casefold()).strip("-")


def sources_of(rule: Rule | StatedRule) -> tuple[Source, ...]:
    """Return every source a rule cites: its own, then those of its figures, its interval and its events."""
    own = Source(rule.clause, rule.confidence)
    if isinstance(rule, ExemptRule):
        return (own,)
    figures: list[Source] = []
    if not isinstance(rule, StatedRule) or isinstance(rule, ScheduledRule):
        figures = [figure.source for figure in (rule.low, rule.high, rule.hold) if figure is not None]
    interval = [rule.recurs.source] if rule.recurs else []
    return (own, *figures, *interval, *(event.source for event in rule.events))


def clauses_linked(clauses: str, edition: str = "") -> SafeString | str:
    """Return the clauses of a figure, each a link where an edition of the rule book holds it, `edition` first."""
    if not clauses:
        return ""
    parts = [_linked(clause, edition) for clause in clauses.split(_BETWEEN)]
    return format_html_join(_BETWEEN, "{}", ((part,) for part in parts))


def _linked(clause: str, edition: str) -> SafeString | str:
    address = address_of(clause, edition)
    return format_html('<a href="{}">{}</a>', address, clause) if address else clause


def address_of(clause: str, edition: str = "") -> str:
    """Return where a clause is opened; empty when no edition shipped cites it."""
    holding = _holding().get(clause, ())
    source, own, _ = edition.partition(MARK)
    if own and (source in holding or clause == OWN_CLAUSE):
        chosen = edition  # a rig's own copy has a page of its own
    elif holding:
        chosen = source if source in holding else holding[-1]
    else:
        return ""
    return f"{reverse('tests_app:rules', args=[chosen])}#{anchor_of(clause)}"


@cache
def _holding() -> dict[str, tuple[str, ...]]:
    """Return the ids of the editions that cite each clause, the latest last."""
    found: dict[str, tuple[str, ...]] = {}
    for edition in sorted(rulebook.editions(), key=lambda one: one.ordered_by):
        rules = (*edition.rules, *edition.bank_rules, *edition.schedule_rules)
        for clause in dict.fromkeys(source.clause for rule in rules for source in sources_of(rule)):
            found[clause] = (*found.get(clause, ()), edition.id)
    return found
