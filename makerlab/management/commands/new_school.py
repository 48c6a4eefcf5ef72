"""A school and its first administrator, who sets up the rest in the browser."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from makerlab.accounts.people import NotPossible, new_school


class Command(BaseCommand):
    help = "Makes a school and its first administrator; prints the administrator's password once."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="the school's name")
        parser.add_argument("--time-zone", required=True, help="such as America/Chicago")
        parser.add_argument("--administrator", required=True, metavar="USERNAME", help="user name to sign in with")
        parser.add_argument("--display-name", default="", help="the name others see; the user name if not given")

    def handle(self, *args: Any, **options: Any) -> None:
        username = options["administrator"]
        try:
            school, person, password = new_school(
                options["name"], options["time_zone"], username, options["display_name"] or username
            )
        except NotPossible as told:
            raise CommandError(str(told)) from told
        self.stdout.write(f"{school} is made. Sign in as {person.username} with the password")
        self.stdout.write(f"  {password}")
        self.stdout.write("It is shown this once. The page School then says what to set up next.")
