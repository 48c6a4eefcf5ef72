from django.apps import AppConfig


class SubmissionsConfig(AppConfig):
    name = "submissions"

    def ready(self) -> None:
        from makerlab.accounts.backends import told_of_people
        from submissions import jobs, lab_parts, queries, receivers  # noqa: F401 - register work, listen to lessons

        told_of_people[queries.REVIEWS_WAITING] = queries.reviews_waiting
