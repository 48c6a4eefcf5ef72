"""Addresses of lessons."""

from django.urls import URLPattern, path

from lessons.class_urls import urlpatterns as class_urls
from lessons.plan_urls import urlpatterns as plan_urls
from lessons.views import after_lab, coasting, kit_parts, lab, plans, settings, sign_in

app_name = "lessons"
urlpatterns: list[URLPattern] = [
    path("sign-in/student/", sign_in.student_sign_in, name="student-sign-in"),
    path("lessons/", plans.plan_list, name="plan-list"),
    path("lessons/<int:pk>/", plans.plan_detail, name="plan-detail"),
    path("lab/", lab.lab_list, name="lab-list"),
    path("lab/<int:pk>/", lab.lab_sheet, name="lab-sheet"),
    path("lab/<int:pk>/readings/", lab.lab_enter, name="lab-enter"),
    path("lab/<int:pk>/board/", lab.lab_board, name="lab-board"),
    path("lab/<int:pk>/physics/", lab.lab_physics, name="lab-physics"),
    path("lab/<int:pk>/argument/", after_lab.lab_argument, name="lab-argument"),
    path("lab/<int:pk>/designs/", after_lab.lab_designs, name="lab-designs"),
    path("lab/<int:pk>/coast-down/", coasting.lab_coasting, name="lab-coasting"),
    path("coast-downs/<int:pk>/remove/", coasting.coasting_remove, name="coasting-remove"),
    path("lab/<int:pk>/report.pdf", after_lab.lab_report_pdf, name="lab-report"),
    path("lab/<int:pk>/mark/", after_lab.lab_mark, name="lab-mark"),
    path("lab/<int:pk>/worksheet/", after_lab.lab_paper, name="lab-paper"),
    path("lab/<int:pk>/results.<str:kind>", lab.lab_results, name="lab-results"),
    path("lab/<int:pk>/board/set/", lab.lab_board_set, name="lab-board-set"),
    path("kit-parts/<int:pk>/", kit_parts.kit_part, name="kit-part"),
    path("kit-parts/<int:pk>/file/", plans.kit_part_file, name="kit-part-file"),
    path("kit-parts/<int:pk>/mesh/", kit_parts.kit_part_mesh, name="kit-part-mesh"),
    path("kit-parts/<int:pk>/picture.png", kit_parts.kit_part_picture, name="kit-part-picture"),
    path("kit-parts/<int:pk>/small.png", kit_parts.kit_part_small, name="kit-part-small"),
    path("kit-parts/<int:pk>/print-settings/", settings.kit_settings, name="kit-settings"),
    path("kit-parts/<int:pk>/print-settings/figures/", settings.kit_settings_figures, name="kit-settings-figures"),
    path("assignments/<int:pk>/print-settings/", settings.assignment_settings, name="assignment-settings"),
    path(
        "assignments/<int:pk>/print-settings/<int:kit_part_id>/",
        settings.assignment_settings_part,
        name="assignment-settings-part",
    ),
    path(
        "assignments/<int:pk>/print-settings/<int:kit_part_id>/figures/",
        settings.assignment_settings_figures,
        name="assignment-settings-figures",
    ),
    *class_urls,
    *plan_urls,
]
