"""Addresses of the district."""

from django.urls import URLPattern, path

from makerlab.district import views

app_name = "district"
urlpatterns: list[URLPattern] = [
    path("", views.schools, name="school-list"),
    path("schools/new/", views.school_new, name="school-new"),
    path("schools/<int:pk>/store/", views.school_store, name="school-store"),
]
