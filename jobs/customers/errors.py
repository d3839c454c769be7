from shared.errors import Refused, WalldayError


class FileUnreadable(Refused):
    """A file that was sent in cannot be used as a whole; the message says why."""

    code = "file_unreadable"


class NoGeocoder(Refused):
    """An address should be looked up and no address register is set."""

    code = "no_geocoder"


class LookupFailed(WalldayError):
    """The address register could not be asked, or its answer could not be used. Nothing was changed."""

    code, status = "lookup_failed", 503
