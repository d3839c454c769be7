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


class PhoneTimeRefused(WalldayError):
    """The time that a phone gives is too long ago, has not come yet, or is before the walkthrough."""

    code = "phone_time_refused"


class OtherHouse(Conflict):
    """What was sent names another job than its walkthrough was made for."""

    code = "other_house"


class NoticeClosed(Conflict):
    """The notice was acknowledged already, or a newer one took its place."""

    code = "notice_closed"
