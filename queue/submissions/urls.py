"""Addresses of submissions."""

from django.urls import URLPattern

app_name = "submissions"
urlpatterns: list[URLPattern] = []
