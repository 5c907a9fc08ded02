from types import SimpleNamespace

import pytest
from django.http import HttpResponse
from django.template import Context, Template
from django.urls import include, path

ENTRY = '{% load wellhold %}{% nav_link "Stack" "gear:stacks" "stack" "position" %}'
RIG = SimpleNamespace(pk=7)


def page(request: object, **keys: object) -> HttpResponse:
    return HttpResponse()


gear = ([path("rigs/<int:rig_pk>/stacks/", page, name="stacks"), path("gear/", page, name="list")], "gear")
urlpatterns = [path("", include(gear))]


def written(text: str, url_name: str = "", **context: object) -> str:
    request = SimpleNamespace(resolver_match=SimpleNamespace(url_name=url_name))
    return Template(text).render(Context({"request": request, **context}))


@pytest.fixture(autouse=True)
def _own_addresses(settings) -> None:
    settings.ROOT_URLCONF = __name__


def test_an_entry_leads_to_the_rig_looked_at() -> None:
    assert written(ENTRY, rig=RIG) == '<li><a href="/rigs/7/stacks/">Stack</a></li>'


def test_an_entry_without_an_address_is_left_out() -> None:
    assert written(ENTRY) == ""
    assert written('{% load wellhold %}{% nav_link "Wells" "gear:wells" %}', rig=RIG) == ""


def test_an_entry_needing_no_rig_shows_without_one() -> None:
    assert 'href="/gear/"' in written('{% load wellhold %}{% nav_link "Gear" "gear:list" %}')


@pytest.mark.parametrize(
    ("url_name", "current"),
    [("stacks", True), ("stack", True), ("position-new", True), ("component", False), ("", False)],
)
def test_the_entry_of_the_page_shown_is_marked(url_name: str, current: bool) -> None:
    assert ('aria-current="page"' in written(ENTRY, url_name, rig=RIG)) is current


def test_a_page_may_say_itself_which_entry_it_belongs_to() -> None:
    assert 'aria-current="page"' in written(ENTRY, "panel", rig=RIG, section="stack")
