"""Addresses of accounts."""

from django.urls import URLPattern, path

from makerlab.accounts import people_views, views

app_name = "accounts"
urlpatterns: list[URLPattern] = [
    path("sign-in/", views.sign_in, name="sign-in"),
    path("sign-in/demo/<str:role>/", views.demo_sign_in, name="sign-in-demo"),
    path("sign-out/", views.sign_out, name="sign-out"),
    path("people/", people_views.people, name="people"),
    path("people/<int:pk>/password/", people_views.person_password, name="person-password"),
    path("people/<int:pk>/lock-out/", people_views.person_lock_out, name="person-lock-out"),
    path("people/<int:pk>/let-in/", people_views.person_let_in, name="person-let-in"),
    path("password/", people_views.own_password, name="own-password"),
]
