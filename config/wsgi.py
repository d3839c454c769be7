"""Entry point of the web process (gunicorn in the full set-up). In the embedded default it is the clock as well."""

import os

from django.conf import settings
from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.embedded")
application = get_wsgi_application()

if settings.WALLDAY_BACKGROUND == "thread":
    from shared.background.ticker import ticking_start

    ticking_start()
