"""The one settings file: read from the environment by helpers that refuse unknown text."""

from __future__ import annotations

import secrets
from pathlib import Path

from dosewright.roof.environment import Environment

ROOT = Path(__file__).resolve().parents[2]
env = Environment()

DOSEWRIGHT_HOME = env.folder("DOSEWRIGHT_HOME", default=ROOT / "var")
DOSEWRIGHT_DATABASE_URL = env.text("DOSEWRIGHT_DATABASE_URL", default="")
DOSEWRIGHT_REDIS_URL = env.text("DOSEWRIGHT_REDIS_URL", default="")
DOSEWRIGHT_PUBLIC_URL = env.text("DOSEWRIGHT_PUBLIC_URL", default="http://127.0.0.1:8000")
DEBUG = False
TESTING = env.flag("DOSEWRIGHT_TESTING", default=False)
DOSEWRIGHT_STEPS = env.only_when(TESTING, "DOSEWRIGHT_STEPS", because="DOSEWRIGHT_TESTING is not set")

SECRET_KEY = env.secret("DOSEWRIGHT_SECRET_KEY", DOSEWRIGHT_HOME / "keys" / "secret_key", make=secrets.token_urlsafe)
ALLOWED_HOSTS = env.words("DOSEWRIGHT_HOSTS", default="127.0.0.1 localhost [::1]")
CSRF_TRUSTED_ORIGINS = env.words("DOSEWRIGHT_ORIGINS", default="")

INSTALLED_APPS = [
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "rest_framework",
    "drf_spectacular",
    "knox",
    "csp",
    "dosewright.ground",
    "prescriptions",
    "printing.formulary",
    "printing.stock",
    "printing.plates",
    "printing.runs",
    "labels",
    "dosewright.roof",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "dosewright.roof.middleware.NoStore",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "dosewright.roof.middleware.SignedIn",
    "dosewright.roof.middleware.BodySize",
    "django.middleware.csrf.CsrfViewMiddleware",
    "dosewright.roof.middleware.SiteClock",
    "dosewright.roof.middleware.RequestLog",
    "dosewright.roof.middleware.Refusals",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]

ROOT_URLCONF = "dosewright.roof.urls"
WSGI_APPLICATION = "dosewright.roof.wsgi.application"
AUTH_USER_MODEL = "ground.User"
AUTHENTICATION_BACKENDS = ["dosewright.roof.api.sign_in.People"]
CSRF_FAILURE_VIEW = "dosewright.roof.faults.csrf_failed"
LOGIN_URL = "/sign-in"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
ATOMIC_REQUESTS = False

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [ROOT / "dosewright" / "roof" / "pages" / "templates"],
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.messages.context_processors.messages",
                "dosewright.roof.pages.context.who_and_where",
            ],
            "builtins": ["dosewright.roof.pages.marks"],
        },
    }
]

DATABASES = {"default": env.database(DOSEWRIGHT_DATABASE_URL, DOSEWRIGHT_HOME / "dosewright.sqlite3")}

PASSWORD_HASHERS = (
    ["django.contrib.auth.hashers.MD5PasswordHasher"]
    if TESTING
    else ["django.contrib.auth.hashers.Argon2PasswordHasher"]
)
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 8 * 3600
SECURE_TLS = env.flag("DOSEWRIGHT_TLS", default=False)
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_TLS
SECURE_HSTS_SECONDS = 31_536_000 if SECURE_TLS else 0
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'"],
        "font-src": ["'self'"],
        "connect-src": ["'self'"],
        "form-action": ["'self'"],
        "base-uri": ["'none'"],
        "frame-ancestors": ["'none'"],
    }
}

DATA_UPLOAD_MAX_MEMORY_SIZE = 2_000_000
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2_000

LANGUAGE_CODE = "en-gb"
LANGUAGES = [("en-gb", "English")]
LOCALE_PATHS = [ROOT / "dosewright" / "roof" / "locale"]
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "/static/"
STATICFILES_DIRS = [ROOT / "dosewright" / "roof" / "pages" / "static"]
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False
WHITENOISE_ALLOW_ALL_ORIGINS = False

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "dosewright.roof.api.authentication.SessionDoor",
        "dosewright.roof.api.authentication.TokenDoor",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_PARSER_CLASSES": ["dosewright.roof.api.parsing.StrictJson"],
    "DEFAULT_RENDERER_CLASSES": ["dosewright.roof.api.rendering.Json"],
    "EXCEPTION_HANDLER": "dosewright.roof.api.problems.as_problem",
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "COERCE_DECIMAL_TO_STRING": True,
    "UNAUTHENTICATED_USER": None,
}
REST_KNOX = {"TOKEN_MODEL": "ground.Token", "AUTH_HEADER_PREFIX": "Bearer", "AUTO_REFRESH": False}
KNOX_TOKEN_MODEL = "ground.Token"
SPECTACULAR_SETTINGS = {
    "TITLE": "Dosewright",
    "VERSION": "1",
    "DESCRIPTION": "From a patient's dose order to a pharmacist-released pack of printed dosage forms.",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "POSTPROCESSING_HOOKS": [],
}

CELERY_BROKER_URL = DOSEWRIGHT_REDIS_URL or "memory://"
CELERY_TIMEZONE = "UTC"
CELERY_ENABLE_UTC = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_IGNORE_RESULT = True
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 3600,
    "socket_timeout": 3,
    "socket_connect_timeout": 3,
}
CELERY_BEAT_SCHEDULE = {"sweep": {"task": "dosewright.sweep", "schedule": 5.0}}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"json": {"()": "dosewright.roof.logs.JsonLines"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {
        "handlers": ["stderr"],
        "level": env.one_of("DOSEWRIGHT_LOG", ("WARNING", "INFO", "ERROR"), "WARNING"),
    },
}

env.refuse_unknown()
