"""For whoever has the server, when nobody in the school can help any more."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from makerlab.accounts.models import User
from makerlab.accounts.second_step import forget_by_server


class Command(BaseCommand):
    help = (
        "Take away the second step of one member of staff, whose phone and paper codes are lost or whose second step "
        "the secret key does not open. They sign in by password then; their sessions end; the school's records say so."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username")

    def handle(self, *args: Any, **options: Any) -> None:
        person = User.objects.filter(username__iexact=options["username"]).first()
        if person is None:
            raise CommandError("There is nobody of that user name.")
        forget_by_server(person)
        self.stdout.write("The second step is forgotten. Let a new one be turned on at the next sign-in.")
