"""The default way to run: one process, SQLite, no service to start. Everything is written under DATA_DIR."""

from config.env import env
from config.settings.base import *  # noqa: F403
from config.settings.base import DATA_DIR, STATIC_ROOT
from config.settings.database import from_url, sqlite
from config.settings.secret import own_secret_key

DEBUG = False
STATIC_ROOT.mkdir(parents=True, exist_ok=True)  # in DATA_DIR; WhiteNoise warns about a folder that is not there
SECRET_KEY = env.str("WALLDAY_SECRET_KEY", default="") or own_secret_key(DATA_DIR / "secret_key")
ALLOWED_HOSTS = env.list("WALLDAY_HOSTS", default=["127.0.0.1", "localhost", "[::1]"])

_database_url = env.str("WALLDAY_DATABASE_URL", default="")
DATABASES = {"default": from_url(_database_url) if _database_url else sqlite(DATA_DIR / "wallday.sqlite3")}

WALLDAY_BACKGROUND = env.str("WALLDAY_BACKGROUND", default="thread")
WALLDAY_REDIS_URL = env.str("WALLDAY_REDIS_URL", default="redis://127.0.0.1:6379/0")
WALLDAY_SITE_URL = env.str("WALLDAY_SITE_URL", default="http://127.0.0.1:8000")
WALLDAY_MAIL = env.str("WALLDAY_MAIL", default="folder")
WALLDAY_TEXT = env.str("WALLDAY_TEXT", default="folder")
WALLDAY_TEXT_URL = env.str("WALLDAY_TEXT_URL", default="")
WALLDAY_TEXT_TOKEN = env.str("WALLDAY_TEXT_TOKEN", default="")
EMAIL_CONFIG = env.email_url("WALLDAY_SMTP_URL", default="smtp://127.0.0.1:25")
globals().update(EMAIL_CONFIG)
EMAIL_TIMEOUT = 20
# Static files are served from the apps' own folders; nothing has to be collected first.
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False
