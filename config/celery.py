"""The Celery application; tasks are found in each app's `tasks` module."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.embedded")

app = Celery("wellhold")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
