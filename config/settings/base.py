"""Settings that every way of running shares. Nothing here is secret or depends on the machine."""

from importlib.util import find_spec
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from config.env import BASE_DIR, data_dir, env

DATA_DIR = data_dir()

ROOMS = [
    "shared.company",
    "shared.people",
    "shared.events",
    "shared.outbox",
    "shared.background",
    "shared.api_kit",
    "shared.web",
    "pricing.catalogue",
    "pricing.estimates",
    "pricing.minutes",
    "pricing.earnings",
    "pricing.costs",
    "pricing.triage",
    "jobs.customers",
    "jobs.mixing",
    "jobs.walkthroughs",
    "jobs.work",
    "jobs.chalking",
    "jobs.reminders",
    "routing.roads",
    "routing.plans",
    "routing.dispatch",
    "routing.demo",
]

INSTALLED_APPS = [
    *ROOMS,
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "rest_framework",
    "rest_framework.authtoken",
    "drf_spectacular",
    "django_htmx",
    "csp",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "shared.web.middleware.ErrorPages",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
AUTH_USER_MODEL = "people.User"
LOGIN_URL = "people:sign_in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "people:sign_in"
CSRF_FAILURE_VIEW = "shared.web.views.csrf_failure"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.template.context_processors.i18n",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "shared.web.context.page",
            ],
        },
    },
]

LANGUAGE_CODE = "en-us"
LANGUAGES = [("en", "English"), ("es", "Español")]
LOCALE_PATHS = [BASE_DIR / "shared" / "web" / "locale"]
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
# Leaflet's own files, from the wheel that ships them; of the wheel's Django part nothing is used.
_leaflet = find_spec("leaflet")
assert _leaflet is not None
assert _leaflet.origin is not None
STATICFILES_DIRS = [("leaflet", Path(_leaflet.origin).parent / "static" / "leaflet")]
MEDIA_ROOT = DATA_DIR / "media"
# What people upload waits here between preview and confirmation.
FILE_UPLOAD_TEMP_DIR = None
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024

AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in ("MinimumLengthValidator", "CommonPasswordValidator", "UserAttributeSimilarityValidator")
]

# Background of maps from a tile server, such as https://tiles.example.com/{z}/{x}/{y}.png, with the words that its
# terms ask for. None by default: the roads of the extract are drawn, and no map asks an outside server.
WALLDAY_TILE_URL = env.str("WALLDAY_TILE_URL", default="")
WALLDAY_TILE_SOURCE = env.str("WALLDAY_TILE_SOURCE", default="")
_tile_server = ["{0.scheme}://{0.netloc}".format(urlsplit(WALLDAY_TILE_URL))] if WALLDAY_TILE_URL else []

# No inline script or style anywhere; everything comes from our own static files.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'", "data:", *_tile_server],
        "connect-src": ["'self'"],
        "manifest-src": ["'self'"],
        "font-src": ["'self'"],
        "form-action": ["'self'"],
        "frame-ancestors": ["'none'"],
        "base-uri": ["'none'"],
    }
}
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        # The first one names the scheme in WWW-Authenticate, so that nobody signed in gets 401 and not 403.
        "rest_framework.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["shared.api_kit.permissions.OwnerOnly"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["shared.api_kit.parsers.PlainJson"],
    "DEFAULT_PAGINATION_CLASS": "shared.api_kit.pagination.BoundedPages",
    "DEFAULT_SCHEMA_CLASS": "shared.api_kit.schema.ProblemSchema",
    "EXCEPTION_HANDLER": "shared.api_kit.problems.problem_response",
}
SPECTACULAR_SETTINGS: dict[str, Any] = {
    "TITLE": "Wallday",
    "DESCRIPTION": "Jobs, routes and reminders of an exterior-washing company.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api/",
    "COMPONENT_SPLIT_REQUEST": True,
    "SERVE_PERMISSIONS": ["shared.api_kit.permissions.SignedIn"],
    # <row:...> of shared.api_kit.converters: the ids that a row can have.
    "PATH_CONVERTER_OVERRIDES": {"row": {"type": "integer", "minimum": 1, "maximum": 2**63 - 1}},
    # Several things have a state or a kind; each set of values keeps a name of its own in the schema.
    "ENUM_NAME_OVERRIDES": {
        "JobStateEnum": "jobs.work.choices.JobState",
        "PlanStateEnum": "routing.plans.choices.PlanState",
        "RunStateEnum": "routing.plans.choices.RunState",
        "ChangeKindEnum": "routing.plans.choices.ChangeKind",
        "MarkKindEnum": "routing.dispatch.models.MarkKind",
        "LeadChoiceEnum": "pricing.triage.choices.Choice",
        "BasisEnum": "jobs.mixing.choices.BasisChoice",
        "MessageStateEnum": "shared.outbox.models.MessageState",
        "EstimateStateEnum": "pricing.estimates.choices.EstimateState",
        "AnswerKindEnum": "jobs.reminders.models.AnswerKind",
        "WallKindEnum": "jobs.customers.models.WallKind",
        "FindingKindEnum": "jobs.walkthroughs.models.FindingKind",
        "LanguageEnum": "jobs.customers.models.Language",
        "LeftOutReasonEnum": "jobs.walkthroughs.models.LeftOutReason",
    },
}

# How background work runs: "inline" (tests), "thread" (in-process, the default) or "celery".
WALLDAY_BACKGROUND = "thread"
# Longest time a day plan may take on the page, in seconds.
WALLDAY_PLAN_SECONDS = 10
# Drive times from a routing server: its address, and its kind (valhalla or osrm). None by default: the roads of the
# extract are used, or estimates.
WALLDAY_ROADS_URL = env.str("WALLDAY_ROADS_URL", default="")
WALLDAY_ROADS_KIND = env.str("WALLDAY_ROADS_KIND", default="valhalla")
# Mail and text: "folder" writes to the outbox folder under DATA_DIR; "smtp" / a gateway by setting.
WALLDAY_MAIL = "folder"
WALLDAY_TEXT = "folder"
# Shared secret of the hooks that providers call (deliveries, incoming texts), after the Standard Webhooks
# specification; empty switches them off.
WALLDAY_HOOK_SECRET = env.str("WALLDAY_HOOK_SECRET", default="")
# Addresses to places: a register that speaks the open Nominatim interface; none by default.
WALLDAY_GEOCODER_URL = env.str("WALLDAY_GEOCODER_URL", default="")
WALLDAY_GEOCODER_AGENT = env.str("WALLDAY_GEOCODER_AGENT", default="wallday")
WALLDAY_GEOCODER_SECONDS = env.float("WALLDAY_GEOCODER_SECONDS", default=1.0)
WALLDAY_GEOCODER_COUNTRIES = env.list("WALLDAY_GEOCODER_COUNTRIES", default=[])

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "%(asctime)s %(levelname)s %(name)s %(message)s"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {name: {"level": "INFO"} for name in ("shared", "pricing", "jobs", "routing")},
}
