"""How the API says what a service refused: JSON with words, and what is missing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.core.exceptions import PermissionDenied
from rest_framework import exceptions, status

from records.services.refusals import Refused, UploadRefused, ValueRefused


class Conflict(exceptions.APIException):
    """The thing does not stand where this may be done."""

    status_code = status.HTTP_409_CONFLICT


class TooLarge(exceptions.APIException):
    """More bytes than one record may have."""

    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE


@contextmanager
def refusals_as_answers() -> Iterator[None]:
    """Turn a refusal into 400 (the value), 403 (the person) or 409 (the state), each with its words."""
    try:
        yield
    except (UploadRefused, ValueRefused) as refused:
        raise exceptions.ValidationError({"detail": refused.words}) from None
    except Refused as refused:
        raise Conflict({"detail": refused.words, "missing": list(refused.missing)}) from None
    except PermissionDenied as refused:
        raise exceptions.PermissionDenied(str(refused)) from None
