from django.apps import AppConfig


class PrintingConfig(AppConfig):
    name = "printing"

    def ready(self) -> None:
        from printing import jobs  # noqa: F401 - registers the kinds of background work
