from django.apps import AppConfig


class AccountsConfig(AppConfig):
    name = "makerlab.accounts"
    label = "accounts"
