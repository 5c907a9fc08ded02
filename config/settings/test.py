from config.settings.base import *  # noqa: F403

SECRET_KEY = "only-for-tests"
DATABASES = {"default": {"ENGINE": "django.db.backends.sqlite3", "NAME": ":memory:"}}
