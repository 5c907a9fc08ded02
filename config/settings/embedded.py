from config.settings.base import *  # noqa: F403

SECRET_KEY = "to-be-replaced"
DEBUG = True
ALLOWED_HOSTS = ["*"]
DATABASES = {"default": {"ENGINE": "django.db.backends.sqlite3", "NAME": BASE_DIR / "var/wellhold.sqlite3"}}  # noqa: F405
