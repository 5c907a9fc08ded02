"""The trail: who did what, when, before and after; and the guards that keep rows as they are."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class TrailConfig(AppConfig):
    name = "trail"
    verbose_name = "Trail"

    def ready(self) -> None:
        from trail import guards
        from trail.models import TrailEntry

        guards.register(guards.append_only(TrailEntry._meta.db_table, "a trail entry never changes"))
        pre_migrate.connect(guards.lift_before_migrate, sender=self, dispatch_uid="trail.guards")
        post_migrate.connect(guards.install_after_migrate, sender=self, dispatch_uid="trail.guards")
