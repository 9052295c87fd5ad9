"""Keeps the secrets of second factors encrypted: a copy of the database alone makes no codes."""

from __future__ import annotations

import base64

from allauth.mfa.adapter import DefaultMFAAdapter
from cryptography.fernet import Fernet, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings


def _fernet(secret: str) -> Fernet:
    """Return the cipher under a key that is derived for this purpose alone (HKDF, RFC 5869)."""
    key = HKDF(algorithm=SHA256(), length=32, salt=None, info=b"withstand second factor").derive(secret.encode())
    return Fernet(base64.urlsafe_b64encode(key))


class SecondFactorAdapter(DefaultMFAAdapter):
    """Encrypts under the site's secret key; what an older key of SECRET_KEY_FALLBACKS wrote is still read."""

    def encrypt(self, text: str) -> str:
        """Return the text as it is stored."""
        return self._cipher().encrypt(text.encode()).decode("ascii")

    def decrypt(self, encrypted_text: str) -> str:
        """Return the text as it was."""
        return self._cipher().decrypt(encrypted_text.encode()).decode()

    def _cipher(self) -> MultiFernet:
        return MultiFernet([_fernet(secret) for secret in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)])
