from django.apps import AppConfig


class LessonsConfig(AppConfig):
    name = "lessons"

    def ready(self) -> None:
        from lessons import jobs  # noqa: F401 - registers the kinds of background work
