"""Errors that a person can do something about.

    WalldayError            something was wrong with what was asked
    ├── NotAllowed          403  the role does not permit it
    ├── NotFound            404  it does not exist, or not for this person
    ├── Conflict            409  it does not fit the present state
    ├── Stale               412  somebody else changed it meanwhile
    ├── Refused             422  the values break a rule
    └── PreconditionMissing 428  the version that was seen must be named

Each carries a stable `code`, an HTTP `status`, a text that may be shown to the user, and `fields` for programs.
A new error: subclass, set both, say in one line when it is raised.
"""

from typing import Any


class WalldayError(Exception):
    code = "refused"
    status = 400

    def __init__(self, message: str, **fields: Any) -> None:
        super().__init__(message)
        self.message = message
        self.fields = fields


class NotAllowed(WalldayError):
    code, status = "not_allowed", 403


class NotFound(WalldayError):
    code, status = "not_found", 404


class Conflict(WalldayError):
    code, status = "conflict", 409


class Stale(WalldayError):
    code, status = "stale", 412


class Refused(WalldayError):
    code, status = "refused", 422


class PreconditionMissing(WalldayError):
    code, status = "precondition_missing", 428
