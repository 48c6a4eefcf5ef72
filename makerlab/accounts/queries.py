"""Who is who, where no person is signed in yet to ask for."""

from __future__ import annotations

from django.conf import settings

from makerlab.accounts.models import Role, User

DEMO_ROLES = (Role.STUDENT, Role.TEACHER, Role.TECHNICIAN, Role.ADMINISTRATOR)


def demo_person(role: str) -> User | None:
    """Whom the demo's button for a role signs in: the first person of that role. Nobody outside the demo."""
    return User.objects.filter(role=role, is_active=True).order_by("pk").first() if settings.DEMO else None


def demo_people() -> list[User]:
    """The people behind the demo's buttons; empty outside the demo."""
    return [person for person in map(demo_person, DEMO_ROLES) if person is not None]


def a_student(user_id: int, school_id: int) -> User:
    """Whoever has these keys, as far as a question for what a student may see goes (makerlab.prepared)."""
    return User(pk=user_id, school_id=school_id, role=Role.STUDENT)
