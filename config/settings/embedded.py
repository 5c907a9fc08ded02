"""One machine, nothing to install beside the program: SQLite, a queue of files, everything below `var/`."""

from urllib.parse import quote

from config.databases import tuned
from config.settings.base import *  # noqa: F403 - a profile is the base and its own lines
from config.settings.base import ENV, WELLHOLD_VAR
from config.storage import folder, kept_secret

folder(WELLHOLD_VAR)

DEBUG = ENV.flag("DEBUG", default=False)
SECRET_KEY = ENV.text("SECRET_KEY") or kept_secret(WELLHOLD_VAR / "secret-key")
ALLOWED_HOSTS = ["localhost", "127.0.0.1", "[::1]", *ENV.listed("ALLOWED_HOSTS")]
CSRF_TRUSTED_ORIGINS = ENV.addresses("CSRF_TRUSTED_ORIGINS")

WELLHOLD_PORT = ENV.whole_number("WELLHOLD_PORT", default=8000, lowest=1, highest=65535)
PUBLIC_ADDRESS = ENV.address("PUBLIC_ADDRESS", f"http://127.0.0.1:{WELLHOLD_PORT}")

DATABASES = {
    "default": tuned(ENV.database("DATABASE_URL", f"sqlite:///{quote(str(WELLHOLD_VAR / 'wellhold.sqlite3'))}"))
}
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.filebased.FileBasedCache",
        "LOCATION": folder(WELLHOLD_VAR / "cache"),
    },
}

REDIS_URL = ENV.redis("REDIS_URL")
CELERY_BROKER_URL = REDIS_URL or "filesystem://localhost//"
if not REDIS_URL:
    # One folder is both ways: what the web server puts out is what the worker takes in.
    queue = str(folder(WELLHOLD_VAR / "queue"))
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "data_folder_in": queue,
        "data_folder_out": queue,
        "control_folder": str(folder(WELLHOLD_VAR / "queue-control")),
    }
CELERY_BEAT_SCHEDULE_FILENAME = str(WELLHOLD_VAR / "beat-schedule")

EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
EMAIL_FILE_PATH = folder(WELLHOLD_VAR / "mail")
DEFAULT_FROM_EMAIL = ENV.text("MAIL_FROM", "wellhold@localhost")
globals().update(ENV.mail("EMAIL_URL"))
WELLHOLD_HOOKS_TO_PRIVATE = ENV.flag("WELLHOLD_HOOKS_TO_PRIVATE", default=True)

DEMO_ACCOUNTS_ALLOWED = True

ENV.refuse_problems()
