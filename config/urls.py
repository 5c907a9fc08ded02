"""Every address of the product; `/healthz` is answered earlier, by config.health."""

from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("accounts.web.urls")),
    path("", include("equipment.web.urls")),
    path("", include("tests_app.web.urls")),
    path("api/v1/", include("tests_app.api.urls")),
    path("admin/", admin.site.urls),
]
