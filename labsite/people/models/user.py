"""Users and the roles they hold."""

from __future__ import annotations

from functools import cached_property
from typing import Any

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Lower

from labsite.people.roles import LABORATORY_ROLES, Role


class UserQuerySet(models.QuerySet["User"]):
    """Reads of users."""

    def visible_to(self, viewer) -> UserQuerySet:
        """Return everybody for the laboratory and its administrator, else the viewer alone."""
        if viewer.is_laboratory or viewer.is_administrator:
            return self
        return self.filter(pk=viewer.pk)

    def holding(self, *roles: str) -> UserQuerySet:
        """Return the active users with at least one of the roles."""
        return self.filter(is_active=True, grants__role__in=roles).distinct()

    def matching(self, text: str) -> UserQuerySet:
        """Return those whose name, address or organisation contains the text."""
        if not text:
            return self
        name, address = models.Q(name__icontains=text), models.Q(email__icontains=text)
        return self.filter(name | address | models.Q(organisation__name__icontains=text))

    def for_list(self) -> UserQuerySet:
        """Return with what a list shows."""
        return self.select_related("organisation").prefetch_related("grants")


class UserManager(BaseUserManager.from_queryset(UserQuerySet)):  # type: ignore[misc]
    """Makes users; the e-mail address is the name they sign in with."""

    def create_user(self, email: str, password: str | None = None, **fields) -> User:
        """Return a new user with a hashed password, or an unusable one.

        The administrator vouches for the address: it is entered as verified, so that no page has to on being looked at.
        """
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        user.emailaddress_set.create(email=user.email, verified=True, primary=True)
        return user


class User(AbstractBaseUser):
    """One row: one person with an account. Accounts are switched off, never deleted or given to another."""

    email = models.EmailField(max_length=254, unique=True)
    name = models.CharField(max_length=120)
    organisation = models.ForeignKey("people.Organisation", on_delete=models.PROTECT, related_name="users")
    is_active = models.BooleanField(default=True)
    joined_at = models.DateTimeField(auto_now_add=True)

    objects = UserManager()

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    class Meta:
        ordering = ("name",)
        constraints = [models.UniqueConstraint(Lower("email"), name="one_account_an_address")]

    def __str__(self) -> str:
        return self.name

    def get_full_name(self) -> str:
        """Return the printed name."""
        return self.name

    @property
    def actor_label(self) -> str:
        """Return the name as the ledger prints it."""
        return f"{self.name} <{self.email}>"

    @cached_property
    def role_names(self) -> frozenset[str]:
        """Return the roles held, one query an instance."""
        return frozenset(grant.role for grant in self.grants.all())

    def has_role(self, *roles: Any) -> bool:
        """Say whether at least one of the roles is held."""
        return not self.role_names.isdisjoint(roles)

    @property
    def is_laboratory(self) -> bool:
        """Say whether this person sees the laboratory's technical work."""
        return self.is_active and self.has_role(*LABORATORY_ROLES)

    @property
    def is_administrator(self) -> bool:
        """Say whether this person looks after accounts."""
        return self.is_active and self.has_role(Role.ADMINISTRATOR)

    def has_perm(self, perm: str, obj=None) -> bool:
        """Return False: rights come from roles alone."""
        return False

    def has_module_perms(self, app_label: str) -> bool:
        """Return False: rights come from roles alone."""
        return False


class RoleGrant(models.Model):
    """One row: one role of one person."""

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="grants")
    role = models.CharField(max_length=20, choices=Role.choices)
    granted_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "role"], name="a_role_once_a_person")]

    def __str__(self) -> str:
        return f"{self.user}: {self.get_role_display()}"
