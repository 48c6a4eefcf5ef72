from django.apps import AppConfig


class SubmissionsConfig(AppConfig):
    name = "submissions"

    def ready(self) -> None:
        from submissions import jobs, lab_parts, receivers  # noqa: F401 - register work and parts, listen to lessons
