"""For whoever has the server: the password of somebody whom nobody in the browser can give one."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from makerlab.accounts.models import STAFF_ROLES, User
from makerlab.accounts.people import give_password_by_server


class Command(BaseCommand):
    help = (
        "Gives one member of staff a new password, printed once: a school's only administrator, or who runs the "
        "district. They choose their own at the first sign-in; their sessions end; the school's records say so."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username")

    def handle(self, *args: Any, **options: Any) -> None:
        found = User.objects.filter(username__iexact=options["username"], role__in=STAFF_ROLES)
        person = found.first()
        if person is None:
            raise CommandError("There is nobody of that user name.")
        password = give_password_by_server(person)
        self.stdout.write(f"{person.username} signs in with the password")
        self.stdout.write(f"  {password}")
        self.stdout.write("It is shown this once.")
