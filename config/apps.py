"""The outermost layer: it knows every app, and no app knows it."""

from django.apps import AppConfig


class ConfigConfig(AppConfig):
    name = "config"
    verbose_name = "Set-up"

    def ready(self) -> None:
        from config import checks  # noqa: F401 - importing registers the checks
