"""Addresses of printing."""

from django.urls import URLPattern

app_name = "printing"
urlpatterns: list[URLPattern] = []
