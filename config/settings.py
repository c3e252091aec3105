"""Settings: one file, everything that differs between places read from the environment."""

import os
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext_lazy as _

from config.environment import flag, number, secret, words

BASE_DIR = Path(__file__).resolve().parent.parent
DEMO = flag("TRAYSPAN_DEMO")
TESTING = flag("TRAYSPAN_TESTING")
LOOPBACK_ONLY = DEMO or TESTING

SECRET_KEY = secret("TRAYSPAN_SECRET_KEY")
DEBUG = False
ALLOWED_HOSTS = words("TRAYSPAN_HOSTS", "localhost,127.0.0.1,testserver" if LOOPBACK_ONLY else "")
if not ALLOWED_HOSTS:
    raise ImproperlyConfigured("TRAYSPAN_HOSTS is empty; name the host names that people type, with commas.")
CSRF_TRUSTED_ORIGINS = words("TRAYSPAN_ORIGINS")

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.forms",
    "django_tables2",
    "django_htmx",
    "csp",
    "axes",
    "django_tasks",
    "django_tasks_db",
    "trays",
    "cases",
]
AUTH_USER_MODEL = "trays.Person"

MIDDLEWARE = [
    "trays.web.middleware.RequestReference",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "trays.web.middleware.Headers",
    "trays.web.middleware.PlainCookies",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "trays.staff.middleware.SiteClock",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "trays.web.middleware.RefusalToPage",
    "axes.middleware.AxesMiddleware",
]
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "cases.desks.context.surroundings",
            ],
        },
    },
]
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

if flag("TRAYSPAN_PG"):
    DATABASES = {
        "default": {
            "ENGINE": "django.db.backends.postgresql",
            "NAME": os.environ.get("PGDATABASE", "trayspan"),
            "HOST": os.environ.get("PGHOST", ""),
            "PORT": os.environ.get("PGPORT", ""),
            "USER": os.environ.get("PGUSER", ""),
            "PASSWORD": os.environ.get("PGPASSWORD", ""),
            "CONN_MAX_AGE": 60,
            "CONN_HEALTH_CHECKS": True,
        }
    }
else:
    DATABASES = {
        "default": {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": os.environ.get("TRAYSPAN_DB", str(BASE_DIR / "trayspan.sqlite3")),
            "OPTIONS": {
                "transaction_mode": "IMMEDIATE",
                "timeout": 20,
                # FULL: what a screen has confirmed outlives a power cut.
                "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;",
            },
        }
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}

AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 8 if DEMO else 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "landing"
LOGOUT_REDIRECT_URL = "sign-in"
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_VERBOSE = False
AXES_LOCKOUT_CALLABLE = "trays.web.views.too_many"
CSRF_FAILURE_VIEW = "trays.web.views.csrf_failure"
SESSION_COOKIE_AGE = 60 * 60 * 12
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_HTTPONLY = True
CSRF_COOKIE_SAMESITE = "Lax"

LANGUAGE_CODE = "en-gb"
LANGUAGES = [("en-gb", _("English"))]
LOCALE_PATHS = [BASE_DIR / "templates" / "locale"]
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = True

STATIC_URL = "/static/"
STATIC_ROOT = os.environ.get("TRAYSPAN_STATIC_ROOT", "")
# The camera's reader of codes is optional: `npm ci` brings it, and where files are gathered, collectstatic.
_READER = BASE_DIR / "node_modules" / "zxing-wasm" / "dist"
_READER_PARTS = [_READER / "iife" / "reader", _READER / "reader"]
STATICFILES_DIRS = [("zxing", str(part)) for part in _READER_PARTS if part.is_dir()]
_WASM = Path(STATIC_ROOT) / "zxing" if STATIC_ROOT else _READER / "reader"
CAMERA_READER = (_WASM / "zxing_reader.wasm").is_file()
WHITENOISE_USE_FINDERS = not STATIC_ROOT
# In a test each client begins the whole application anew: a file is looked for when it is asked for.
WHITENOISE_AUTOREFRESH = TESTING and not STATIC_ROOT
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if STATIC_ROOT
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
DATA_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
FILE_UPLOAD_HANDLERS = ["django.core.files.uploadhandler.TemporaryFileUploadHandler"]
IMPORT_LIMIT_BYTES = 20 * 1024 * 1024
# Refused scans are kept so long for questions, then forgotten by a daily command.
SCANS_KEPT_DAYS_MOST = 3650
SCANS_KEPT_DAYS = number("TRAYSPAN_SCAN_DAYS", 90, least=1, most=SCANS_KEPT_DAYS_MOST)

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'"],
        "font-src": ["'self'"],
        "connect-src": ["'self'"],
        "manifest-src": ["'self'"],
        "form-action": ["'self'"],
        "base-uri": ["'none'"],
        "frame-ancestors": ["'none'"],
    }
}
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
if not LOOPBACK_ONLY:
    # A hospital serves over TLS; the proxy says so in this header and nobody else can reach the process.
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_SSL_REDIRECT = True
    SECURE_HSTS_SECONDS = 365 * 24 * 3600
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = True
    SESSION_COOKIE_NAME = "__Host-session"
    CSRF_COOKIE_SECURE = True
    CSRF_COOKIE_NAME = "__Host-csrf"

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"reference": {"()": "trays.web.errors.ReferenceFilter"}},
    "formatters": {"line": {"format": "{asctime} {levelname} {reference} {name} {message}", "style": "{"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line", "filters": ["reference"]}},
    "root": {"handlers": ["stderr"], "level": "WARNING"},
}
