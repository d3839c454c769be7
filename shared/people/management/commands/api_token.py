from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from shared.people.models import User
from shared.people.services import token_make, token_revoke


class Command(BaseCommand):
    help = "Makes a token for calling the API as a person (an older one stops working), or revokes it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--revoke", action="store_true", help="remove the token instead")

    def handle(self, *args: Any, **options: Any) -> None:
        person = User.objects.filter(username=options["username"]).first()
        if person is None:
            raise CommandError(f"There is no person with the sign-in name {options['username']}.")
        if options["revoke"]:
            had_one = token_revoke(person=person, actor=None)
            self.stdout.write("The token no longer works." if had_one else "There was no token.")
        else:
            self.stdout.write(token_make(person=person, actor=None))
