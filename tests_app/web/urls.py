"""Addresses of the test pages."""

from django.urls import path

from tests_app.web import (
    calculators,
    certificates,
    closing,
    evidence,
    front,
    headings,
    plots,
    record_list,
    sealed,
    steps,
)

app_name = "tests_app"
urlpatterns = [
    path("", front.home, name="home"),
    path("rigs/<int:rig_pk>/", front.rig_front, name="rig"),
    path("rigs/<int:rig_pk>/tests/", record_list.show, name="records"),
    path("rigs/<int:rig_pk>/tests/new/", headings.new_test, name="pressure-test-new"),
    path("records/<int:pk>/", sealed.show, name="record"),
    path("records/<int:pk>/heading/", headings.amend_heading, name="record-heading"),
    path("records/<int:pk>/steps/new/", steps.add_step, name="step-new"),
    path("records/<int:pk>/steps/preview/", steps.preview, name="step-preview"),
    path("records/<int:pk>/recording/", evidence.attach, {"of_step": False}, name="record-attach"),
    path("records/<int:pk>/chart/", evidence.attach_chart, {"of_step": False}, name="record-chart"),
    path("records/<int:pk>/conclusion/", closing.conclude, name="record-conclude"),
    path("records/<int:pk>/give-up/", closing.discard, name="record-discard"),
    path("records/<int:pk>/sign/", closing.sign, name="record-sign"),
    path("records/<int:pk>/correct/", closing.correct, name="record-correct"),
    path("records/<int:pk>/certificate/", certificates.show, name="certificate"),
    path("records/<int:pk>/certificate/state/", sealed.certificate_part, name="certificate-part"),
    path("records/<int:pk>/certificate.pdf", certificates.pdf, name="certificate-pdf"),
    path("records/<int:pk>/plot/<int:order>/", plots.content_plot, name="content-plot"),
    path("steps/<int:pk>/", steps.amend_step, name="step"),
    path("steps/<int:pk>/retest/", steps.retest, name="step-retest"),
    path("steps/<int:pk>/take-out/", steps.remove, name="step-remove"),
    path("steps/<int:pk>/recording/", evidence.attach, {"of_step": True}, name="step-attach"),
    path("steps/<int:pk>/chart/", evidence.attach_chart, {"of_step": True}, name="step-chart"),
    path("steps/<int:pk>/marks/", evidence.choose_marks, name="step-marks"),
    path("steps/<int:pk>/readings/", evidence.type_readings, name="step-readings"),
    path("steps/<int:pk>/readings/take-back/", evidence.take_back_readings, name="step-take-back"),
    path("steps/<int:pk>/plot/", plots.step_plot, name="step-plot"),
    path("lines/<int:pk>/seen/", steps.note_line, name="line-note"),
    path("recordings/<int:pk>/plot/", plots.recording_plot, name="recording-plot"),
    path("recordings/<int:pk>/file/", certificates.recording_file, name="recording-file"),
    path("recordings/<int:pk>/set-aside/", evidence.withdraw, name="recording-withdraw"),
    path("verify/<str:sha256>/", certificates.verify, name="verify"),
    path("calculations/", calculators.index, name="calculations"),
    path("calculations/<slug:name>/", calculators.show, name="calculation"),
]
