from django.apps import AppConfig


class LessonsConfig(AppConfig):
    name = "lessons"

    def ready(self) -> None:
        from django.db.models.signals import post_delete

        from lessons import jobs, trying  # noqa: F401 - register the kinds of background work
        from lessons.models import KitPart
        from lessons.showing import forget_deleted

        post_delete.connect(forget_deleted, sender=KitPart, dispatch_uid="lessons.forget_shown")
