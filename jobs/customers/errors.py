from shared.errors import Refused


class FileUnreadable(Refused):
    """A file that was sent in cannot be used as a whole; the message says why."""

    code = "file_unreadable"
