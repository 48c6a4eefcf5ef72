"""Addresses of privacy."""

from django.urls import URLPattern, path

from makerlab.privacy import views

app_name = "privacy"
urlpatterns: list[URLPattern] = [
    path("privacy/", views.keeping, name="keeping"),
    path("privacy/records/", views.records, name="records"),
    path("privacy/students/<int:pk>/export/", views.student_export, name="student-export"),
    path("privacy/students/<int:pk>/erase/", views.student_erase, name="student-erase"),
    path("privacy/classes/<int:pk>/erase/", views.class_erase, name="class-erase"),
]
