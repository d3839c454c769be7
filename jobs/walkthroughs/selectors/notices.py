"""Which notice of a walkthrough stands."""

from jobs.walkthroughs.models import Notice, Walkthrough


def notice_standing(walkthrough: Walkthrough) -> Notice | None:
    """The newest notice, where it is settled or shows every picture that has come up; else one is to be made."""
    notice = walkthrough.notices.order_by("-pk").first()
    if notice is None or is_settled(notice) or _shows_all(notice, walkthrough):
        return notice
    return None


def is_settled(notice: Notice) -> bool:
    """Whether somebody acknowledged the notice, or nobody was home and it was sent."""
    return hasattr(notice, "acknowledgement") or notice.absences.exists()


def _shows_all(notice: Notice, walkthrough: Walkthrough) -> bool:
    pictures = list(walkthrough.photos.values_list("digest", flat=True))
    return notice.prints.filter(picture_digests=pictures).exists()
