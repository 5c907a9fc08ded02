"""Addresses of the API, below /api/v1/."""

from django.urls import path

from tests_app.api import calculations

app_name = "api"
urlpatterns = [
    path("calculations/", calculations.Calculations.as_view(), name="calculations"),
    path("calculations/<str:name>/", calculations.CalculationByName.as_view(), name="calculation"),
]
