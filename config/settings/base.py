"""Settings shared by every profile; a profile adds databases, keys and addresses, then refuses what is wrong."""

from datetime import timedelta
from pathlib import Path

import django_stubs_ext
from kombu import Queue

from config.environment import Environment
from config.version import version_in

# Django's generic classes take their type in brackets only for the type checker; this lets them take it at run time.
django_stubs_ext.monkeypatch()

BASE_DIR = Path(__file__).resolve().parents[2]
ENV = Environment()

WELLHOLD_VERSION = version_in(BASE_DIR / "CHANGELOG.md")
# Everything the program writes on one machine lies below this folder.
WELLHOLD_VAR = Path(ENV.text("WELLHOLD_VAR", str(BASE_DIR / "var"))).absolute()

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.forms",
    "csp",
    "django_htmx",
    "django_filters",
    "django_tables2",
    "rest_framework",
    "drf_spectacular",
    "accounts",
    "trail",
    "equipment",
    "tests_app",
    "config",
]
MIDDLEWARE = [
    "config.health.HealthMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "accounts.middleware.OwnPasswordMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "trail.middleware.OriginMiddleware",
]
ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "config.context.set_up",
            ],
        },
    },
]
# Fields and tables are drawn by our own templates (templates/django/forms, templates/partials/table.html).
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"
DJANGO_TABLES2_TEMPLATE = "partials/table.html"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# Time and language: UTC in the database and in the server; a rig's zone only where a person reads or types.
USE_TZ = True
TIME_ZONE = "UTC"
LANGUAGE_CODE = "en-us"

# People
AUTH_USER_MODEL = "accounts.User"
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "/"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
# A tour is twelve hours: somebody who signs in at its start is not thrown out of a half-written test.
SESSION_COOKIE_AGE = int(timedelta(hours=13).total_seconds())

# What a browser may load: our own files and nothing else, so that an injected script or address stays dead.
# Styles are looser because the plots write their own into the page; a style cannot sign a record.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'self'"],
        "script-src": ["'self'"],
        "style-src": ["'self'", "'unsafe-inline'"],
        "img-src": ["'self'", "data:", "blob:"],
        "object-src": ["'none'"],
        "base-uri": ["'none'"],
        "form-action": ["'self'"],
        "frame-ancestors": ["'none'"],
    },
}
X_FRAME_OPTIONS = "DENY"

# Files
STATIC_URL = "static/"
STATICFILES_DIRS = [BASE_DIR / "static"]
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.FileSystemFinder",
    "django.contrib.staticfiles.finders.AppDirectoriesFinder",
    "config.assets.BokehFinder",
]
STATIC_ROOT = Path(ENV.text("WELLHOLD_STATIC", str(WELLHOLD_VAR / "static")))
MEDIA_ROOT = WELLHOLD_VAR / "files"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
FILE_UPLOAD_PERMISSIONS = 0o600
# A recording of half a million samples posted as text is about 15 MB; a long test has many fields to a step.
DATA_UPLOAD_MAX_MEMORY_SIZE = 32 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000
# The largest recorder file taken, in bytes; half a million samples are a quarter of it.
WELLHOLD_MAX_RECORDING_BYTES = ENV.whole_number(
    "WELLHOLD_MAX_RECORDING_BYTES", default=64_000_000, lowest=1_000_000, highest=512_000_000
)

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["rest_framework.authentication.SessionAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser", "rest_framework.parsers.MultiPartParser"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    # Anybody may ask for a calculation; twenty a second is more than a person or a spreadsheet needs. Of the rest, ten
    # a second read a whole rig in a minute. A password is tried no faster than a person types.
    "DEFAULT_THROTTLE_RATES": {
        "calculations": "1200/min",
        "api": "600/min",
        "api-writing": "240/min",
        "api-password": "10/min",
    },
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}

SPECTACULAR_SETTINGS = {
    "TITLE": "Wellhold",
    "VERSION": WELLHOLD_VERSION,
    "DESCRIPTION": "Rigs, their well-control equipment, what is due on it and what was proven. Every call asks for a "
    "token (Authorization: Bearer …), made on the profile page, or for the session of a browser. Pressures are gauge. "
    "Moments carry their zone. Answers that refuse are problem documents (RFC 9457).",
    "OAS_VERSION": "3.1.0",
    "SCHEMA_PATH_PREFIX": "/api/v1/",
    "SERVE_INCLUDE_SCHEMA": False,
    "COMPONENT_SPLIT_REQUEST": False,
    "PREPROCESSING_HOOKS": ["tests_app.api.description.only_described"],
    "POSTPROCESSING_HOOKS": ["tests_app.api.description.documents_closed"],
}

# What is owed follows from every entry. A fault in working it out must keep nobody from entering what they did; the
# rig is marked and tried again. The test suite wants to see the fault.
WELLHOLD_RECONCILE_STRICTLY = False

# Mail and web hooks. A server that does not answer holds up one worker for half a minute, not for ever.
EMAIL_TIMEOUT = 30
# Whether there is a way for mail to go; without one each message says so instead of being tried for a day.
WELLHOLD_MAIL_IS_SET = True
# Whether a rig's web hook may lead to an address of a private network, or to this machine. A rig's network is one, so
# the embedded profile allows it; on a server many rigs share, a hook could otherwise ask the server's own neighbours.
WELLHOLD_HOOKS_TO_PRIVATE = ENV.flag("WELLHOLD_HOOKS_TO_PRIVATE", default=False)

# Background work: ids only, every task safe to run twice. A task is taken off the queue when it has ended, so one that
# was running when its worker died runs again.
# Three queues, taken from by turns: what a person waits for, alerts, and what nobody waits for
# (tests_app.after_commit). However long each certificate takes, every other turn or so is an alert's.
CELERY_TASK_QUEUES = [Queue("celery"), Queue("alerts"), Queue("backlog")]
CELERY_TASK_DEFAULT_QUEUE = "celery"
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TASK_SOFT_TIME_LIMIT = int(timedelta(minutes=9).total_seconds())
CELERY_TASK_TIME_LIMIT = int(timedelta(minutes=10).total_seconds())
CELERY_TIMEZONE = "UTC"
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
# A queue that does not answer must not hold up the person who just saved: reconciliation finds what was not queued.
CELERY_TASK_PUBLISH_RETRY_POLICY = {"max_retries": 2, "interval_start": 0, "interval_step": 0.2, "interval_max": 0.5}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "filters": {"refusals": {"()": "config.logs.RefusalsInOneLine"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line", "filters": ["refusals"]}},
    "root": {"handlers": ["stderr"], "level": ENV.text("LOG_LEVEL", "INFO")},
    "loggers": {
        "django": {"handlers": [], "level": "INFO", "propagate": True},
        # They tell each step of every certificate.
        "weasyprint": {"level": "WARNING"},
        "fontTools": {"level": "WARNING"},
    },
}

# Whether the demo's well-known sign-ins may exist in the database (config.checks).
DEMO_ACCOUNTS_ALLOWED = False
