"""Addresses of what is brought in from elsewhere, and of the sheets to take away."""

from django.urls import path

from tests_app.web import bring_in, brought_tests

brought_urls = [
    path("rigs/<int:rig_pk>/bring-in/", bring_in.show, name="bring-in"),
    path("rigs/<int:rig_pk>/sheets/<slug:sheet>.<slug:kind>", bring_in.sheet, name="sheet"),
    path("rigs/<int:rig_pk>/past-tests/", brought_tests.show, name="brought-tests"),
    path("brought-files/<int:pk>/", bring_in.show_file, name="brought-file"),
    path("brought-files/<int:pk>/state/", bring_in.file_state, name="brought-file-state"),
    path("brought-files/<int:pk>/file/", bring_in.download, name="brought-file-download"),
    path("brought-files/<int:pk>/confirm/", bring_in.confirm, name="brought-file-confirm"),
    path("brought-files/<int:pk>/again/", bring_in.try_again, name="brought-file-again"),
    path("brought-files/<int:pk>/set-aside/", bring_in.set_aside, name="brought-file-set-aside"),
    path("past-tests/<int:pk>/", brought_tests.show_test, name="brought-test"),
    path("past-tests/<int:pk>/confirm/", brought_tests.confirm, name="brought-test-confirm"),
    path("past-tests/<int:pk>/withdraw/", brought_tests.withdraw, name="brought-test-withdraw"),
]
