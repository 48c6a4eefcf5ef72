from django.apps import AppConfig


class LessonsConfig(AppConfig):
    name = "lessons"

    def ready(self) -> None:
        from lessons import jobs, trying  # noqa: F401 - register the kinds of background work
