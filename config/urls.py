"""Every address of the product; `/healthz` is answered earlier, by config.health."""

from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path

from tests_app.api.description import Nowhere

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("accounts.web.urls")),
    path("profile/tokens/", include("equipment.web.token_urls")),
    path("", include("equipment.web.urls")),
    path("", include("tests_app.web.urls")),
    path("api/v1/", include("equipment.api.urls")),
    path("api/v1/", include("tests_app.api.urls")),
    path("api/<path:elsewhere>", Nowhere.as_view()),
    path("admin/", admin.site.urls),
]
