"""Template tags for published rules. Load with ``{% load rules %}``."""

from django import template

from equipment.web.columns import day_text
from tests_app.web.clauses import clauses_linked

register = template.Library()
register.filter("clauses", clauses_linked)
register.filter("day", day_text)
