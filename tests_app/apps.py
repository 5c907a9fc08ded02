"""What must be proven, by when, and what was proven: the app of the trade's tests."""

from django.apps import AppConfig


class TestsAppConfig(AppConfig):
    name = "tests_app"
    verbose_name = "Tests"

    def ready(self) -> None:
        from equipment import following
        from tests_app.actions.following import rework_drafts
        from tests_app.actions.obligations import follow
        from tests_app.guards import sealing_guards
        from tests_app.web import panels
        from tests_app.withdrawal_guards import withdrawal_guards
        from trail import entries, guards

        guards.register(*sealing_guards(), *withdrawal_guards())
        panels.register()
        following.register(lambda row, by, at: rework_drafts(row, by=by, at=at))
        entries.register(follow)
