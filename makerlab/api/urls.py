"""Addresses of the pages; those of the interface itself are in ``site.py``."""

from django.urls import URLPattern, path

from makerlab.api.views import hook_pages, pages

app_name = "access"
urlpatterns: list[URLPattern] = [
    path("tokens/", pages.token_list, name="token-list"),
    path("tokens/<int:pk>/revoke/", pages.token_revoke, name="token-revoke"),
    path("webhooks/", hook_pages.webhook_list, name="webhook-list"),
    path("webhooks/<int:pk>/secret/", hook_pages.webhook_secret, name="webhook-secret"),
    path("webhooks/<int:pk>/remove/", hook_pages.webhook_remove, name="webhook-remove"),
]
