from django.apps import AppConfig


class SubmissionsConfig(AppConfig):
    name = "submissions"

    def ready(self) -> None:
        from submissions import jobs, receivers  # noqa: F401 - register background work, listen to lessons
