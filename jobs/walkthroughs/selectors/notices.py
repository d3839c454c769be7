"""Which notice of a walkthrough stands."""

from jobs.walkthroughs.models import Acknowledgement, Notice, OfflineAnswer, Walkthrough


def notice_standing(walkthrough: Walkthrough) -> Notice | None:
    """The newest notice, where it is settled or shows every picture that has come up; else one is to be made."""
    notices = walkthrough.notices.select_related("acknowledgement__offline__settled")
    notice = notices.order_by("-pk").first()
    if notice is None or is_settled(notice):
        return notice
    is_answered = hasattr(notice, "acknowledgement")  # without a signal, and it differs
    return notice if not is_answered and _shows_all(notice, walkthrough) else None


def is_settled(notice: Notice) -> bool:
    """Whether somebody acknowledged the notice, or nobody was home and it was sent."""
    answer = getattr(notice, "acknowledgement", None)
    return (answer is not None and not is_disputed(answer)) or notice.absences.exists()


def is_disputed(answer: Acknowledgement) -> bool:
    """Whether a phone without a signal showed another text than ours, and the office has not settled that."""
    offline: OfflineAnswer | None = getattr(answer, "offline", None)
    return offline is not None and offline.differs and not hasattr(offline, "settled")


def _shows_all(notice: Notice, walkthrough: Walkthrough) -> bool:
    pictures = list(walkthrough.photos.values_list("digest", flat=True))
    return notice.prints.filter(picture_digests=pictures).exists()
