import sys
from getpass import getpass
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from shared.people.roles import Role
from shared.people.services import NewPerson, person_add


class Command(BaseCommand):
    help = (
        "Adds somebody who may sign in; the first owner of a company begins here. Asks for the password, or reads it "
        "as one line from standard input where that is not a terminal."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--role", choices=Role.values, default=Role.CREW_LEAD)

    def handle(self, *args: Any, **options: Any) -> None:
        new = NewPerson(username=options["username"], password=_password(), role=options["role"])
        try:
            person = person_add(new=new, actor=None)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self.stdout.write(f"{person.username} may sign in as {person.get_role_display()}.")


def _password() -> str:
    if sys.stdin.isatty():
        return getpass("Password: ")
    return sys.stdin.readline().rstrip("\r\n")
