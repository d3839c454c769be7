"""A signing key for the embedded set-up, made on the first start and kept readable by its owner only."""

import os
from pathlib import Path

from django.core.management.utils import get_random_secret_key


def own_secret_key(path: Path) -> str:
    """Read the key at `path`, or make one there. Two processes that start at once agree on one key."""
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text(encoding="ascii").strip()
    key = get_random_secret_key()
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(key)
    return key
