"""What can go wrong with roads, for a person to mend.

Refused 422
└── BadExtract          the file is missing, unreadable, cut off or holds no roads
"""

from shared.errors import Refused


class BadExtract(Refused):
    code = "bad_extract"
