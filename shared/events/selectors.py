from django.db.models import Model, QuerySet

from shared.events.models import Event


def event_list(*, subject: Model) -> QuerySet[Event]:
    """The history of one thing, newest first."""
    return Event.objects.filter(subject_type=subject._meta.label_lower, subject_id=subject.pk).select_related("actor")
