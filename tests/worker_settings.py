"""Settings of a worker process that a test starts: the test's own database, queue and mail server."""

import os

from config.settings.test import *  # noqa: F403 - the test's profile and where this run differs
from config.settings.test import DATABASES, REDIS_URL

DATABASES["default"]["NAME"] = os.environ["WELLHOLD_TEST_DATABASE"]
CELERY_BROKER_URL = REDIS_URL
CELERY_BROKER_TRANSPORT_OPTIONS = {"global_keyprefix": os.environ["WELLHOLD_TEST_PREFIX"]}
EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
EMAIL_HOST = "127.0.0.1"
EMAIL_PORT = int(os.environ["WELLHOLD_TEST_MAIL_PORT"])
