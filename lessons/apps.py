from django.apps import AppConfig


class LessonsConfig(AppConfig):
    name = "lessons"

    def ready(self) -> None:
        from django.db.models.signals import post_delete

        from lessons import jobs, trying  # noqa: F401 - register the kinds of background work
        from lessons.models import KitPart, LessonPackage
        from lessons.models.packages import delete_file
        from lessons.showing import forget_deleted
        from lessons.stored import file_of_deleted

        post_delete.connect(forget_deleted, sender=KitPart, dispatch_uid="lessons.forget_shown")
        post_delete.connect(delete_file, sender=LessonPackage, dispatch_uid="lessons.delete_package_file")
        post_delete.connect(file_of_deleted, sender=KitPart, dispatch_uid="lessons.forget_file")
