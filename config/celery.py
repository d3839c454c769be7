"""The Celery application of the full set-up. Beat does nothing but tick: what is due is decided by rows."""

import os

from celery import Celery
from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.production")

app = Celery("wallday")
app.conf.update(
    broker_url=settings.WALLDAY_REDIS_URL,
    task_ignore_result=True,
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    worker_prefetch_multiplier=1,
    # Well under the broker's visibility timeout (one hour), so that no task is handed out twice while it runs.
    task_time_limit=900,
    task_soft_time_limit=840,
    broker_connection_retry_on_startup=True,
    timezone="UTC",
    beat_schedule={"tick": {"task": "wallday.tick", "schedule": 60.0}},
)
app.autodiscover_tasks(["shared.background"], related_name="celery_tasks")
