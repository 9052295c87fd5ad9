"""What every page is given: its navigation and its incident number."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.utils.functional import SimpleLazyObject

from labsite.ui import navigation
from labsite.ui.middleware import current_request_id


def page(request: HttpRequest) -> dict[str, Any]:
    """Return navigation (asked of the database only if the page shows it) and the incident number."""
    return {
        "navigation": SimpleLazyObject(lambda: navigation.entries(request)),
        "request_id": current_request_id(),
    }
