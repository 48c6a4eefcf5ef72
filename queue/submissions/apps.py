from django.apps import AppConfig


class SubmissionsConfig(AppConfig):
    name = "submissions"

    def ready(self) -> None:
        from submissions import jobs, lab_wheels, receivers  # noqa: F401 - register work and wheels, listen to lessons
