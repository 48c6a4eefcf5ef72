from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "makerlab.api"
    label = "api"

    def ready(self) -> None:
        from makerlab.api.once import forget_old_answers
        from makerlab.work.registry import DAILY

        if forget_old_answers not in DAILY:
            DAILY.append(forget_old_answers)
