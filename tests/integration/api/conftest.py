"""The certificates' fixtures serve here too."""

from tests.integration.certificates.conftest import draft, issued, quick_typesetting, runs, unit

__all__ = ["draft", "issued", "quick_typesetting", "runs", "unit"]
