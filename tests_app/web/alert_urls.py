"""Addresses of alerts, of the messages that carry them, and of calendar feeds."""

from django.urls import path

from tests_app.web import alert_settings, alerts, feeds

alert_urls = [
    path("alerts/", alerts.show_own, name="alerts"),
    path("alerts/seen/", alerts.see_all, name="alerts-seen"),
    path("alerts/<int:pk>/", alerts.show, name="alert"),
    path("rigs/<int:rig_pk>/alerts/", alerts.show_of_rig, name="rig-alerts"),
    path("rigs/<int:rig_pk>/alerts/settings/", alert_settings.show, name="alert-settings"),
    path("rigs/<int:rig_pk>/alerts/test/", alert_settings.send_test, name="alert-test"),
    path("rigs/<int:rig_pk>/messages/", alerts.show_messages, name="messages"),
    path("messages/<int:pk>/", alerts.show_message, name="message"),
    path("messages/<int:pk>/again/", alerts.send_again, name="message-again"),
    path("calendar-feeds/", feeds.show, name="calendar-feeds"),
    path("calendar-feeds/<int:pk>/revoke/", feeds.revoke, name="calendar-feed-revoke"),
    path("feeds/<str:token>.ics", feeds.read, name="feed"),
]
