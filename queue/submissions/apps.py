from django.apps import AppConfig


class SubmissionsConfig(AppConfig):
    name = "submissions"

    def ready(self) -> None:
        from submissions import jobs  # noqa: F401 - registers the kinds of background work
