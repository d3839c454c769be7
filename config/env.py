"""The one place that reads the environment (and `.env` beside manage.py, where there is one)."""

from pathlib import Path

import environ

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()
environ.Env.read_env(BASE_DIR / ".env", overwrite=False)


def data_dir() -> Path:
    """The folder that takes everything the product writes: `var/` unless WALLDAY_DATA names another."""
    return Path(env.str("WALLDAY_DATA", default=str(BASE_DIR / "var"))).expanduser().resolve()
