"""The full set-up: PostgreSQL, Celery on Redis, mail by SMTP. Refuses to start without what it needs, by name."""

from django.core.exceptions import ImproperlyConfigured

from config.env import env
from config.settings.base import *  # noqa: F403
from config.settings.database import from_url

NEEDED = (
    "WALLDAY_SECRET_KEY",
    "WALLDAY_HOSTS",
    "WALLDAY_SITE_URL",
    "WALLDAY_DATABASE_URL",
    "WALLDAY_REDIS_URL",
    "WALLDAY_SMTP_URL",
)
_missing = [name for name in NEEDED if not env.str(name, default="")]
if _missing:
    raise ImproperlyConfigured(f"Set these in the environment before starting: {', '.join(_missing)}")

DEBUG = False
SECRET_KEY = env.str("WALLDAY_SECRET_KEY")
ALLOWED_HOSTS = env.list("WALLDAY_HOSTS")
WALLDAY_SITE_URL = env.str("WALLDAY_SITE_URL")
CSRF_TRUSTED_ORIGINS = [WALLDAY_SITE_URL]
DATABASES = {"default": from_url(env.str("WALLDAY_DATABASE_URL"))}

WALLDAY_BACKGROUND = "celery"
WALLDAY_REDIS_URL = env.str("WALLDAY_REDIS_URL")
WALLDAY_MAIL = "smtp"
WALLDAY_TEXT = env.str("WALLDAY_TEXT", default="folder")
WALLDAY_TEXT_URL = env.str("WALLDAY_TEXT_URL", default="")
WALLDAY_TEXT_TOKEN = env.str("WALLDAY_TEXT_TOKEN", default="")
globals().update(env.email_url("WALLDAY_SMTP_URL"))
EMAIL_TIMEOUT = 20

# TLS ends at the proxy in front of the web process, which says so in this header.
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
SECURE_SSL_REDIRECT = env.bool("WALLDAY_TLS", default=True)
SECURE_HSTS_SECONDS = 31_536_000
SECURE_HSTS_INCLUDE_SUBDOMAINS = True
SECURE_HSTS_PRELOAD = True
SESSION_COOKIE_SECURE = True
CSRF_COOKIE_SECURE = True
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
