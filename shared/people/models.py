from django.conf import settings
from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.translation import gettext_lazy as _

from shared.people.roles import Role


class User(AbstractUser):
    """Somebody who signs in. The role decides what they see; a new account is a crew lead, the least of the three."""

    role = models.CharField(_("role"), max_length=12, choices=Role.choices, default=Role.CREW_LEAD)
    phone_e164 = models.CharField(_("telephone"), max_length=16, blank=True)
    language = models.CharField(
        _("language"),
        max_length=5,
        choices=settings.LANGUAGES,
        blank=True,
        help_text=_("Of the pages; empty: as the browser asks"),
    )

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


class SignInFailure(models.Model):
    """A sign-in that was refused; a few in a row for one name from one address make the next ones wait."""

    username = models.CharField(max_length=150)
    address = models.CharField(max_length=45, help_text="IP address as the web process sees it")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-id"]
        indexes = [models.Index(fields=["username", "address", "at"], name="sign_in_failure_recent")]

    def __str__(self) -> str:
        return f"{self.username} {self.at}"
