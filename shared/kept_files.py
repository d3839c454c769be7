"""Files that are kept as they were written: random names below MEDIA_ROOT, never served by their address, read back
only as written."""

import hashlib
import secrets

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage


class FileChanged(RuntimeError):
    """A kept file is not what was written: its digest differs."""


def digest_of(data: bytes) -> str:
    """SHA-256, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def file_store(folder: str, data: bytes, ending: str) -> str:
    """Write below `folder` under a name that nobody can guess; returns it."""
    return default_storage.save(f"{folder}/{secrets.token_hex(16)}.{ending}", ContentFile(data))


def file_forget(name: str) -> None:
    """Remove a file whose row was not written."""
    default_storage.delete(name)


def file_read(name: str, digest: str) -> bytes:
    """The file's bytes. Raises FileChanged where they are not those that were written."""
    with default_storage.open(name) as file:
        data: bytes = file.read()
    if digest_of(data) != digest:
        raise FileChanged(name)
    return data
