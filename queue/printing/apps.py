from django.apps import AppConfig


class PrintingConfig(AppConfig):
    name = "printing"

    def ready(self) -> None:
        from lessons.classes.moving import effect_sources
        from lessons.measuring import room_sources
        from lessons.plans.cost import price_sources as kit_price_sources
        from lessons.plans.kit import use_sources
        from makerlab.health.doctor import CHECKS
        from makerlab.work.registry import DAILY
        from printing import (
            costs,
            doctor,
            jobs,  # noqa: F401 - registers the kinds of background work
            kit_use,
            moved_meetings,
            old_plans,
            progress,
            queries,
            receivers,  # noqa: F401 - listens to submissions
        )
        from submissions.queries import price_sources, progress_sources

        if queries.room_for_check not in room_sources:
            room_sources.append(queries.room_for_check)
        if progress not in progress_sources:
            progress_sources.append(progress)
        if costs.price_for not in price_sources:
            price_sources.append(costs.price_for)
        if kit_use.of_part not in use_sources:
            use_sources.append(kit_use.of_part)
        if costs.prices_today not in kit_price_sources:
            kit_price_sources.append(costs.prices_today)
        if moved_meetings.effect_on_room not in effect_sources:
            effect_sources.append(moved_meetings.effect_on_room)
        if old_plans.forget_old_plans not in DAILY:
            DAILY.append(old_plans.forget_old_plans)
        if doctor.room_hours not in CHECKS:
            CHECKS.append(doctor.room_hours)
