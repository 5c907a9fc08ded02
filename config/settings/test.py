"""The profile of the test suite: SQLite in a file of its own, or the database DATABASE_URL names."""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

# A file and not memory: tests with a live server or worker use the database from several threads, which SQLite's
# shared memory mode answers with "table is locked".
_SCRATCH = Path(tempfile.mkdtemp(prefix="wellhold-test-"))
atexit.register(shutil.rmtree, _SCRATCH, ignore_errors=True)
os.environ["WELLHOLD_VAR"] = str(_SCRATCH)

from config.databases import tuned  # noqa: E402 - the folder must be known before the base reads it
from config.settings.base import *  # noqa: E402, F403 - a profile is the base and its own lines
from config.settings.base import ENV  # noqa: E402

DEBUG = False
SECRET_KEY = "only-for-tests-and-refused-by-the-production-profile-always"
ALLOWED_HOSTS = ["localhost", "127.0.0.1", "testserver"]
PUBLIC_ADDRESS = "https://wellhold.test"

DATABASES = {
    "default": {
        # Nothing here must survive a power cut, so no waiting for the disk.
        **tuned(
            ENV.database("DATABASE_URL", f"sqlite:///{_SCRATCH / 'unused.sqlite3'}"),
            pragmas=("journal_mode=WAL", "synchronous=OFF", "foreign_keys=ON"),
        ),
        "TEST": {},
    },
}
# A connection that outlives its thread would keep PostgreSQL from dropping the test database.
DATABASES["default"]["CONN_MAX_AGE"] = 0
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["TEST"] = {"NAME": str(_SCRATCH / "test.sqlite3")}

CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
DEFAULT_FROM_EMAIL = "wellhold@localhost"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = True

# Tests that need no worker send into memory, where nothing takes the task up. Those that do use the `worker` fixture,
# which needs REDIS_URL. The prefix keeps parallel test processes, and anybody else on that Redis, apart.
REDIS_URL = ENV.redis("REDIS_URL")
CELERY_BROKER_URL = REDIS_URL or "memory://"
CELERY_BROKER_TRANSPORT_OPTIONS = {"global_keyprefix": f"{_SCRATCH.name}:"} if REDIS_URL else {}

LOGGING = {"version": 1, "disable_existing_loggers": False, "root": {"level": "WARNING"}}
DEMO_ACCOUNTS_ALLOWED = True
WELLHOLD_RECONCILE_STRICTLY = True

ENV.refuse_problems()
