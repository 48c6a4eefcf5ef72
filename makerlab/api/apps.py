from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "makerlab.api"
    label = "api"

    def ready(self) -> None:
        from makerlab.api import jobs, receivers  # noqa: F401 - register the work, listen to the apps below
        from makerlab.api.once import forget_old_answers
        from makerlab.work.registry import DAILY, OFTEN

        for chores, chore in (
            (DAILY, forget_old_answers),
            (DAILY, jobs.forget_old_deliveries),
            (OFTEN, jobs.try_what_is_due),
        ):
            if chore not in chores:
                chores.append(chore)
