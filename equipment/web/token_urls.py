"""Addresses of a person's tokens, below their profile."""

from django.urls import path

from equipment.web.views import tokens

app_name = "tokens"
urlpatterns = [
    path("", tokens.show, name="own"),
    path("<int:pk>/revoke/", tokens.revoke, name="revoke"),
]
