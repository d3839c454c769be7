"""Settings of the test suite: SQLite unless WALLDAY_DATABASE_URL names another, nothing leaves the process."""

import tempfile
from pathlib import Path

from config.env import env
from config.settings.base import *  # noqa: F403
from config.settings.database import from_url, sqlite

DEBUG = False
SECRET_KEY = "only-for-tests"  # noqa: S105  the tests sign nothing that leaves them
ALLOWED_HOSTS = ["testserver", "127.0.0.1", "localhost"]
DATA_DIR = Path(tempfile.mkdtemp(prefix="wallday-test-"))
MEDIA_ROOT = DATA_DIR / "media"
STATIC_ROOT = DATA_DIR / "static"
STATIC_ROOT.mkdir()  # WhiteNoise warns about a folder that is not there

_database_url = env.str("WALLDAY_DATABASE_URL", default="")
DATABASES = {"default": from_url(_database_url) if _database_url else sqlite(DATA_DIR / "wallday.sqlite3")}
if not _database_url:
    # A file, not memory: browser and worker tests open the same database from other processes.
    DATABASES["default"]["TEST"] = {"NAME": str(DATA_DIR / "test.sqlite3")}

# What Django writes again by itself whenever the tables are emptied.
TEST_NON_SERIALIZED_APPS = ["django.contrib.auth", "django.contrib.contenttypes"]

WALLDAY_BACKGROUND = "inline"
WALLDAY_REDIS_URL = env.str("WALLDAY_REDIS_URL", default="redis://127.0.0.1:6379/0")
WALLDAY_SITE_URL = "http://testserver"
WALLDAY_MAIL = "folder"
WALLDAY_TEXT = "folder"
WALLDAY_TEXT_URL = ""
WALLDAY_TEXT_TOKEN = ""
WALLDAY_HOOK_SECRET = ""
WALLDAY_GEOCODER_URL = ""
WALLDAY_GEOCODER_SECONDS = 0.0
WALLDAY_ROADS_URL = ""
WALLDAY_TILE_URL = ""
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False
