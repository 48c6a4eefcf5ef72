"""Who runs the district: given, taken away and listed by whoever has the server, never in the browser."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from makerlab.accounts.models import User
from makerlab.accounts.people import NotPossible
from makerlab.accounts.second_step import has_second_step
from makerlab.district.actions import give_by_server, take_by_server


class Command(BaseCommand):
    help = (
        "Lets an administrator run the district in the browser, or takes that away; without an option lists who does. "
        "They see counts of all schools, make schools and set their stores; their own school's records say so."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        what = parser.add_mutually_exclusive_group()
        what.add_argument("--give", metavar="USERNAME", help="an administrator of one of the schools")
        what.add_argument("--take", metavar="USERNAME")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            if options["give"] is not None:
                self.give(person_of(options["give"]))
            elif options["take"] is not None:
                person = person_of(options["take"])
                take_by_server(person)
                self.stdout.write(f"{person.username} no longer runs the district.")
            else:
                self.tell()
        except NotPossible as told:
            raise CommandError(str(told)) from told

    def give(self, person: User) -> None:
        give_by_server(person)
        self.stdout.write(f"{person.username} of {person.school} runs the district. Their page is District.")
        if not has_second_step(person):
            self.stdout.write("It opens when they have turned on the second step of their sign-in.")

    def tell(self) -> None:
        rows = User.objects.filter(runs_district=True).select_related("school", "second_step").order_by("username")
        for person in rows:
            step = getattr(person, "second_step", None)
            notes = [
                "" if person.is_active else ", locked out",
                "" if step and step.confirmed_at else ", no second step",
            ]
            self.stdout.write(f"{person.username}, {person.school}{''.join(notes)}")
        if not rows:
            self.stdout.write("Nobody runs the district.")


def person_of(username: str) -> User:
    person = User.objects.select_related("school").filter(username__iexact=username.strip()).first()
    if person is None:
        raise CommandError(f"There is nobody of the user name {username!r}.")
    return person
