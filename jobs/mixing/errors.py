from typing import Any

from jobs.mixing.domain.strength import CannotMix
from jobs.mixing.words import reason_words
from shared.errors import Conflict, Refused


class MixRefused(Refused):
    """What was asked for cannot or must not be mixed; `reason` says which rule."""

    code = "mix_refused"

    def __init__(self, reason: str, **fields: Any) -> None:
        super().__init__(reason_words(reason), reason=reason, **fields)

    @classmethod
    def of(cls, error: CannotMix) -> "MixRefused":
        return cls(error.reason)


class StillInUse(Conflict):
    """Something depends on the row."""

    code = "still_in_use"
