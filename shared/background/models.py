from django.db import models


class Schedule(models.Model):
    """Work that the clock starts. A row says when it is due next; `tick` claims due rows and enqueues their task."""

    task = models.CharField(max_length=60, unique=True, help_text="name of a registered background task")
    every_minutes = models.PositiveIntegerField()
    next_due_at = models.DateTimeField()
    last_started_at = models.DateTimeField(null=True, blank=True)
    is_on = models.BooleanField(default=True)

    class Meta:
        ordering = ["task"]
        constraints = [
            models.CheckConstraint(condition=models.Q(every_minutes__gte=1), name="schedule_at_least_a_minute"),
        ]

    def __str__(self) -> str:
        return f"{self.task} every {self.every_minutes} min"
