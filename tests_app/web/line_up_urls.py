"""Addresses of plans of line-ups, their steps, their papers, and the search for a leak."""

from django.urls import path

from tests_app.web import line_up_page, line_ups

line_up_urls = [
    path("rigs/<int:rig_pk>/line-ups/", line_ups.show_list, name="line-ups"),
    path("rigs/<int:rig_pk>/line-ups/new/", line_ups.new_plan, name="line-up-new"),
    path("line-ups/<int:pk>/", line_up_page.show, name="line-up"),
    path("line-ups/<int:pk>/state/", line_up_page.state_part, name="line-up-state"),
    path("line-ups/<int:pk>/again/", line_up_page.ask_again, name="line-up-again"),
    path("line-ups/<int:pk>/steps/new/", line_up_page.add_step, name="line-up-step-new"),
    path("line-ups/<int:pk>/test/", line_up_page.open_test, name="line-up-test"),
    path("line-ups/<int:pk>/try/", line_up_page.try_step, name="line-up-try"),
    path("line-ups/<int:pk>/sheet.pdf", line_up_page.sheet, name="line-up-sheet"),
    path("line-up-steps/<int:pk>/", line_up_page.change_step, name="line-up-step"),
    path("line-up-steps/<int:pk>/drawing/", line_up_page.drawing, name="line-up-drawing"),
    path("line-up-steps/<int:pk>/move/", line_up_page.move, name="line-up-step-move"),
    path("line-up-steps/<int:pk>/pin/", line_up_page.pin, name="line-up-step-pin"),
    path("line-up-steps/<int:pk>/take-out/", line_up_page.remove, name="line-up-step-remove"),
    path("steps/<int:pk>/leak/", line_up_page.find_leak, name="step-leak"),
]
