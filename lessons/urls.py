"""Addresses of lessons."""

from django.urls import URLPattern, path

from lessons.views import plans, sign_in

app_name = "lessons"
urlpatterns: list[URLPattern] = [
    path("sign-in/student/", sign_in.student_sign_in, name="student-sign-in"),
    path("lessons/", plans.plan_list, name="plan-list"),
    path("lessons/<int:pk>/", plans.plan_detail, name="plan-detail"),
    path("kit-parts/<int:pk>/file/", plans.kit_part_file, name="kit-part-file"),
]
