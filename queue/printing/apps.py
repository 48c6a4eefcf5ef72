from django.apps import AppConfig


class PrintingConfig(AppConfig):
    name = "printing"

    def ready(self) -> None:
        from printing import (
            jobs,  # noqa: F401 - registers the kinds of background work
            progress,
            receivers,  # noqa: F401 - listens to submissions
        )
        from submissions.queries import progress_sources

        if progress.of_team not in progress_sources:
            progress_sources.append(progress.of_team)
