from django.apps import AppConfig


class SubmissionsConfig(AppConfig):
    name = "submissions"

    def ready(self) -> None:
        from makerlab.accounts.backends import told_of_people
        from makerlab.news import topics
        from submissions import following, jobs, lab_parts, queries, receivers  # noqa: F401 - register work, listen to lessons

        told_of_people[queries.REVIEWS_WAITING] = queries.reviews_waiting
        topics[following.PARTS] = ("submissions:part-list", following.parts)
        topics[following.REPORT] = ("submissions:submission-report", following.report)
