from django.contrib.auth.models import AbstractUser
from django.db import models

from shared.people.roles import Role


class User(AbstractUser):
    """Somebody who signs in. The role decides what they see; a new account is a crew lead, the least of the three."""

    role = models.CharField(max_length=12, choices=Role.choices, default=Role.CREW_LEAD)
    phone_e164 = models.CharField(max_length=16, blank=True)

    class Meta(AbstractUser.Meta):
        ordering = ["username"]
        constraints = [
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="user_role_known"),
        ]

    @property
    def is_owner(self) -> bool:
        return self.role == Role.OWNER

    @property
    def is_office(self) -> bool:
        """Owner or office: everything but wages and margins, which are the owner's."""
        return self.role in (Role.OWNER, Role.OFFICE)

    @property
    def is_crew_lead(self) -> bool:
        return self.role == Role.CREW_LEAD
