from shared.errors import Conflict, Refused, WalldayError


class PictureRefused(Refused):
    """The file is no picture of a kind that is taken, or larger than what is taken."""

    code = "picture_refused"


class PictureTooLarge(WalldayError):
    """More bytes than a picture may have; nothing of it was read."""

    code, status = "picture_too_large", 413


class AlreadyRecorded(Conflict):
    """The same key came with other content: what was recorded is never changed."""

    code = "recorded_already"


class NoticeUnsettled(Conflict):
    """The job must not be started: the walkthrough or the answer to its notice is missing."""

    code = "notice_unsettled"


class NoticeClosed(Conflict):
    """The notice was acknowledged already, or a newer one took its place."""

    code = "notice_closed"
