"""The store of records: content-addressed files that are written once, safely, and never changed."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from django.conf import settings

from records.readers.kept import write_arrays
from records.readers.recording import Samples
from records.services.refusals import UploadRefused

_CHUNK = 1024 * 1024


@dataclass(frozen=True)
class StoredFile:
    """A file in the store: its path below MEDIA_ROOT, digest and size."""

    path: str
    sha256: str
    size_bytes: int


def absolute(path: str) -> Path:
    """Return where a stored file lies."""
    return Path(settings.MEDIA_ROOT) / path


def keep_stream(stream: Any, given_name: str) -> StoredFile:
    """Write a stream into the store, taking its digest on the way; on return it has reached the disk.

    Refuses an empty stream and one over the limit; then nothing of it is left.
    """
    limit = settings.UPLOAD_LIMIT_BYTES
    room = _folder("records/incoming")
    digest, size = hashlib.sha256(), 0
    with tempfile.NamedTemporaryFile(dir=room, delete=False) as file:
        incoming = Path(file.name)
        try:
            for chunk in _chunks(stream):
                size += len(chunk)
                if size > limit:
                    raise UploadRefused(
                        f"“{given_name}” is larger than the {limit / 2**20:g} MB that one record may have. "
                        "Nothing was stored. Export a shorter part of it."
                    )
                digest.update(chunk)
                file.write(chunk)
            if not size:
                raise UploadRefused(f"“{given_name}” is empty: 0 bytes. Nothing was stored. Export the record again.")
            _flush(file)
        except BaseException:
            incoming.unlink(missing_ok=True)
            raise
    name = digest.hexdigest()
    path = f"records/{name[:2]}/{name}"
    _settle(incoming, absolute(path))
    return StoredFile(path, name, size)


def keep_arrays(path: str, arrays: Mapping[str, Samples]) -> None:
    """Write the arrays of a recording, by name, beside its file."""
    target = absolute(path)
    with tempfile.NamedTemporaryFile(dir=_folder("records/incoming"), delete=False) as file:
        write_arrays(file, arrays)
        _flush(file)
    _settle(Path(file.name), target)


def _chunks(stream: Any) -> Iterator[bytes]:
    if hasattr(stream, "chunks"):
        yield from stream.chunks(_CHUNK)
        return
    while chunk := stream.read(_CHUNK):
        yield chunk


def _folder(path: str) -> Path:
    folder = absolute(path)
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _flush(file: IO[bytes]) -> None:
    file.flush()
    os.fsync(file.fileno())


def _settle(incoming: Path, target: Path) -> None:
    """Give a finished file its place; bytes that are there already stay as they are."""
    target.parent.mkdir(parents=True, exist_ok=True)
    if target.exists():
        incoming.unlink()
        return
    incoming.chmod(0o440)
    incoming.rename(target)
    for folder in (target.parent, target.parent.parent):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
