"""Addresses of accounts."""

from django.urls import URLPattern, path

from makerlab.accounts import views

app_name = "accounts"
urlpatterns: list[URLPattern] = [
    path("sign-in/", views.sign_in, name="sign-in"),
    path("sign-in/demo/<str:role>/", views.demo_sign_in, name="sign-in-demo"),
    path("sign-out/", views.sign_out, name="sign-out"),
]
