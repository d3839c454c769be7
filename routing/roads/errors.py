"""What can go wrong with roads, for a person to mend.

WalldayError
├── ServerFailed 503        the routing server did not answer, or not with a drive table
└── Refused 422
    └── BadExtract          the file is missing, unreadable, cut off or holds no roads
"""

from shared.errors import Refused, WalldayError


class BadExtract(Refused):
    code = "bad_extract"


class ServerFailed(WalldayError):
    """The routing server did not answer, or not with a drive table. The caller asks another source."""

    code, status = "routing_server_failed", 503
