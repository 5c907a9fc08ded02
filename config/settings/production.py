"""The profile for a server: every value comes from the environment, and an unsafe one stops the start."""

from config import refusals
from config.databases import tuned
from config.settings.base import *  # noqa: F403 - a profile is the base and its own lines
from config.settings.base import ENV

DEBUG = False

SECRET_KEY = ENV.required("SECRET_KEY", "Set it to 50 or more random characters, kept secret.")
ALLOWED_HOSTS = ENV.listed("ALLOWED_HOSTS")
PUBLIC_ADDRESS = ENV.address("PUBLIC_ADDRESS")
CSRF_TRUSTED_ORIGINS = ENV.addresses("CSRF_TRUSTED_ORIGINS", (PUBLIC_ADDRESS,) if PUBLIC_ADDRESS else ())

DATABASES = {"default": tuned(ENV.database("DATABASE_URL"))}
REDIS_URL = ENV.redis("REDIS_URL")
CACHES = {"default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": REDIS_URL}}
CELERY_BROKER_URL = REDIS_URL
# Longer than the longest task (CELERY_TASK_TIME_LIMIT): Redis hands out again what was not acknowledged by then.
CELERY_BROKER_TRANSPORT_OPTIONS = {"visibility_timeout": 3600}
CELERY_BEAT_SCHEDULE_FILENAME = ENV.text("BEAT_SCHEDULE_FILE", "/tmp/beat-schedule")

DEFAULT_FROM_EMAIL = ENV.text("MAIL_FROM", "wellhold@localhost")
globals().update(ENV.mail("EMAIL_URL"))
WELLHOLD_MAIL_IS_SET = bool(ENV.text("EMAIL_URL"))

# HTTPS everywhere. The proxy in front ends it; its header is believed only when said so, since without such a proxy
# anybody could send it.
SECURE_SSL_REDIRECT = True
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if ENV.flag("BEHIND_TLS_PROXY", default=False) else None
SECURE_HSTS_SECONDS = 365 * 24 * 3600
SECURE_HSTS_INCLUDE_SUBDOMAINS = True
SECURE_HSTS_PRELOAD = True
SESSION_COOKIE_SECURE = True
CSRF_COOKIE_SECURE = True
SESSION_COOKIE_NAME = "__Host-session"
CSRF_COOKIE_NAME = "__Host-csrf"

refusals.secret_key(ENV, SECRET_KEY)
refusals.hosts(ENV, ALLOWED_HOSTS, PUBLIC_ADDRESS)
refusals.public_address(ENV, PUBLIC_ADDRESS)
refusals.trusted_origins(ENV, CSRF_TRUSTED_ORIGINS)
refusals.database(ENV)
refusals.redis(ENV, REDIS_URL)
refusals.mail(ENV)
ENV.refuse_problems()
