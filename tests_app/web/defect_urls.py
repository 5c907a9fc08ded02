"""Addresses of the pages of defects."""

from django.urls import path

from tests_app.web import defect_actions, defect_list, defect_page, defects, failure_rates

defect_urls = [
    path("rigs/<int:rig_pk>/defects/", defect_list.show, name="defects"),
    path("rigs/<int:rig_pk>/defects/new/", defects.by_hand, name="defect-new"),
    path("rigs/<int:rig_pk>/defects/rates/", failure_rates.show, name="failure-rates"),
    path("defects/<int:pk>/", defect_page.show, name="defect"),
    path("defects/<int:pk>/act/", defect_actions.act, name="defect-act"),
    path("defects/<int:pk>/report/", defect_actions.report, name="defect-report"),
    path("defects/<int:pk>/judge/", defect_actions.judge, name="defect-judge"),
    path("defects/<int:pk>/retest/", defect_actions.prove, name="defect-prove"),
    path("defects/<int:pk>/disposition/", defect_actions.dispose, name="defect-dispose"),
    path("lines/<int:pk>/defect/", defects.of_line, {"worked": False}, name="line-defect"),
    path("worked/<int:pk>/defect/", defects.of_line, {"worked": True}, name="function-line-defect"),
]
