"""The embedded default: messages become files in the outbox folder, and nothing leaves the machine."""

import os
from pathlib import Path

from django.conf import settings

from shared.outbox.channels.mime import mime_message
from shared.outbox.errors import NotSent
from shared.outbox.models import Message


def outbox_folder() -> Path:
    return Path(settings.DATA_DIR) / "outbox"


def write_mail(message: Message) -> str:
    return _write(message, "eml", mime_message(message).as_bytes())


def write_text(message: Message) -> str:
    return _write(message, "txt", f"To: {message.recipient}\n\n{message.body}".encode())


def _write(message: Message, ending: str, content: bytes) -> str:
    """Put the whole file in place at once: a reader never sees half a message."""
    target = outbox_folder() / f"{message.pk:08d}-{message.idempotency_key.hex[:8]}.{ending}"
    unfinished = target.with_suffix(f".{os.getpid()}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        unfinished.write_bytes(content)
        unfinished.replace(target)
    except OSError as error:
        raise NotSent(f"The outbox folder cannot be written: {error}", again=True) from error
    return target.name
