"""Addresses of accounts."""

from django.urls import URLPattern, path

from makerlab.accounts import people_views, second_step_views, single_sign_on_views, views

app_name = "accounts"
urlpatterns: list[URLPattern] = [
    path("sign-in/", views.sign_in, name="sign-in"),
    path("sign-in/code/", second_step_views.sign_in_code, name="sign-in-code"),
    path("sign-in/school/", single_sign_on_views.begin, name="single-sign-on"),
    path("sign-in/school/return/", single_sign_on_views.come_back, name="single-sign-on-return"),
    path("sign-in/demo/<str:role>/", views.demo_sign_in, name="sign-in-demo"),
    path("sign-out/", views.sign_out, name="sign-out"),
    path("people/", people_views.people, name="people"),
    path("people/<int:pk>/password/", people_views.person_password, name="person-password"),
    path("people/<int:pk>/lock-out/", people_views.person_lock_out, name="person-lock-out"),
    path("people/<int:pk>/let-in/", people_views.person_let_in, name="person-let-in"),
    path("people/<int:pk>/second-step/forget/", second_step_views.person_forget, name="person-forget"),
    path("people/<int:pk>/service/", single_sign_on_views.person_connect, name="person-connect"),
    path("people/second-step/", second_step_views.require, name="second-step-require"),
    path("second-step/", second_step_views.own, name="second-step"),
    path("second-step/codes/", second_step_views.renew_codes, name="second-step-codes"),
    path("second-step/off/", second_step_views.off, name="second-step-off"),
    path("sign-out/everywhere/", views.sign_out_everywhere, name="sign-out-everywhere"),
    path("password/", people_views.own_password, name="own-password"),
]
