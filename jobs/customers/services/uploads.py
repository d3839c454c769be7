"""Files that people sent in, waiting between preview and confirmation: random names, bounded size, removed after."""

import json
import re
import secrets
from collections.abc import Iterable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, BinaryIO

from django.conf import settings
from django.utils.translation import gettext as _

from jobs.customers.domain.tables import MAX_FILE_BYTES
from shared.errors import NotFound, Refused

TOKEN = re.compile(r"[A-Za-z0-9_-]{32}")
KEPT_HOURS = 24


def token_new() -> str:
    """A name that nobody can guess."""
    return secrets.token_urlsafe(24)


def upload_store(*, chunks: Iterable[bytes]) -> str:
    """Keep a file and answer the token that names it. Raises Refused for one that is too large."""
    token = token_new()
    path, size = _path(token), 0
    try:
        with path.open("xb") as file:
            for chunk in chunks:
                size += len(chunk)
                if size > MAX_FILE_BYTES:
                    raise Refused(_("The file is larger than %(limit)d MB.") % {"limit": MAX_FILE_BYTES // 1024**2})
                file.write(chunk)
    except Refused:
        path.unlink()
        raise
    return token


def upload_open(*, token: str) -> BinaryIO:
    """The file behind a token. Raises NotFound for one that is gone."""
    try:
        return _path(token).open("rb")
    except FileNotFoundError as error:
        raise NotFound(_("This file is no longer here. Send it in again.")) from error


def upload_delete(*, token: str) -> None:
    """Remove the file behind a token, if it is still there."""
    _path(token).unlink(missing_ok=True)


def corrections_path(*, token: str) -> Path:
    """Where the refused rows of an import go. Raises NotFound for a token that cannot be one."""
    return _path(token).with_suffix(".csv")


def report_keep(*, token: str, report: dict[str, Any]) -> None:
    """Keep what an import did, for the page that shows it."""
    _path(token).with_suffix(".json").write_text(json.dumps(report), encoding="utf-8")


def report_kept(*, token: str) -> dict[str, Any]:
    """What the import of this file did. Raises NotFound for one that is gone."""
    try:
        report: dict[str, Any] = json.loads(_path(token).with_suffix(".json").read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise NotFound(_("The report of this import is no longer here.")) from error
    return report


def uploads_sweep(*, now: datetime) -> int:
    """Remove what nobody came back for within a day; how many files."""
    before = (now - timedelta(hours=KEPT_HOURS)).timestamp()
    old = [path for path in _folder().iterdir() if path.stat().st_mtime < before]
    for path in old:
        path.unlink(missing_ok=True)
    return len(old)


def _folder() -> Path:
    folder = Path(settings.DATA_DIR) / "imports"
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def _path(token: str) -> Path:
    """A token is checked before it becomes part of a path."""
    if not TOKEN.fullmatch(token):
        raise NotFound(_("There is no such file."))
    return _folder() / token
