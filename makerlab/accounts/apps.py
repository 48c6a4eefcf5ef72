from django.apps import AppConfig


class AccountsConfig(AppConfig):
    name = "makerlab.accounts"
    label = "accounts"

    def ready(self) -> None:
        from django.contrib.auth.signals import user_logged_in

        from makerlab.accounts.doctor import second_steps, sign_in_service
        from makerlab.accounts.middleware import note_sign_in
        from makerlab.health.doctor import CHECKS

        user_logged_in.connect(note_sign_in, dispatch_uid="accounts.note_sign_in")
        CHECKS.extend([second_steps, sign_in_service])
