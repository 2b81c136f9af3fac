"""Sites, the people who work there, their roles and their tokens."""

from __future__ import annotations

import json
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from knox.models import AbstractAuthToken

from dosewright.ground.pure.roles import Role
from dosewright.ground.pure.site_values import SiteValues


class Site(models.Model):
    """One pharmacy or hospital department that prints, with its own clock, language, law and numbers."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=120)
    address = models.CharField(max_length=200)
    telephone = models.CharField(max_length=40, blank=True)
    time_zone = models.CharField(max_length=60)
    language = models.CharField(max_length=10, default="en")
    jurisdiction = models.CharField(max_length=20)
    gs1_prefix = models.CharField(max_length=12, blank=True)
    is_demo = models.BooleanField(default=False)
    values_text = models.TextField(default="{}")

    class Meta:
        ordering = ("code",)

    def __str__(self) -> str:
        return self.code

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return ZoneInfo(self.time_zone)

    @property
    def values(self) -> SiteValues:
        """The site's numbers: the defaults with this site's overrides."""
        return SiteValues.from_overrides(json.loads(self.values_text))


class UserManager(BaseUserManager["User"]):
    """Looks users up by their user name; people are made by the people service alone."""

    def get_by_natural_key(self, username: str | None) -> User:
        """Return the user of `username`."""
        return self.get(username=username)


class User(AbstractBaseUser):  # type: ignore[django-manager-missing]
    """One person, or one machine that acts (worker, printer), at one site."""

    PERSON, WORKER, PRINTER = "person", "worker", "printer"
    KINDS = ((PERSON, "person"), (WORKER, "worker"), (PRINTER, "printer"))

    code = models.CharField(max_length=20, unique=True)
    username = models.CharField(max_length=60, unique=True)
    printed_name = models.CharField(max_length=120)
    profession = models.CharField(max_length=60, blank=True)
    registration = models.CharField(max_length=40, blank=True)
    kind = models.CharField(max_length=10, choices=KINDS, default=PERSON)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="people")
    is_active = models.BooleanField(default=True)

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS = ["printed_name"]
    objects = UserManager()

    class Meta:
        ordering = ("username",)
        constraints = [
            models.UniqueConstraint(
                fields=["registration"],
                condition=~models.Q(registration=""),
                name="one_person_per_registration",
            )
        ]

    def __str__(self) -> str:
        return self.username


class Grant(models.Model):
    """One role that one user holds at the site, from a time to a time."""

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="grants")
    role = models.CharField(max_length=30, choices=[(role.value, role.value) for role in Role])
    given_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+", null=True)
    given_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["user", "role"], condition=models.Q(revoked_at=None), name="one_open_grant_per_role"
            )
        ]


class Token(AbstractAuthToken):
    """One API token of one user, kept as a digest; it can read and act but never sign."""

    name: models.CharField[str, str] = models.CharField(max_length=60, blank=True)
