"""Settings. With nothing set in the environment: the embedded profile, one machine, SQLite, no other server.

Environment (all optional):
  MAKERLAB_VAR         folder for the database, files and the secret key (default: var/ beside manage.py)
  MAKERLAB_SECRET_KEY  the secret; without it one is made once and kept in MAKERLAB_VAR, mode 600
  MAKERLAB_HOSTS       host names, comma separated (default: this machine only)
  MAKERLAB_HTTPS       1 behind TLS: secure cookies, HSTS, redirect
  MAKERLAB_DEMO        1 lets the sign-in page offer each role by one click; only ``manage.py demo`` sets it
  DATABASE_URL         postgres://... for the distributed profile
  REDIS_URL            redis://... turns on Celery as the doorbell of background work
"""

from __future__ import annotations

import os
import secrets
from pathlib import Path
from typing import Any

import dj_database_url

BASE_DIR = Path(__file__).resolve().parent.parent
VAR = Path(os.environ.get("MAKERLAB_VAR", BASE_DIR / "var"))


def flag(name: str) -> bool:
    """True when the environment says 1, yes or true."""
    return os.environ.get(name, "").lower() in {"1", "yes", "true"}


def secret_key() -> str:
    """The key from the environment, or one made once and kept in a file only we can read."""
    if given := os.environ.get("MAKERLAB_SECRET_KEY"):
        return given
    path = VAR / "secret_key"
    if not path.exists():
        VAR.mkdir(parents=True, exist_ok=True)
        made = secrets.token_urlsafe(50)
        try:
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:  # another process was first
            return path.read_text()
        with os.fdopen(descriptor, "w") as file:
            file.write(made)
    return path.read_text()


def databases() -> dict[str, Any]:
    """PostgreSQL by DATABASE_URL, else SQLite in WAL mode with short immediate transactions."""
    if url := os.environ.get("DATABASE_URL"):
        return {"default": dj_database_url.parse(url, conn_max_age=60, conn_health_checks=True)}
    return {
        "default": {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": VAR / "makerlab.sqlite3",
            "OPTIONS": {
                "transaction_mode": "IMMEDIATE",
                "timeout": 20,
                "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;",
            },
        }
    }


SECRET_KEY = secret_key()
DEBUG = False
DEMO = flag("MAKERLAB_DEMO")
HTTPS = flag("MAKERLAB_HTTPS")
ALLOWED_HOSTS = [host for host in os.environ.get("MAKERLAB_HOSTS", "").split(",") if host] or [
    "127.0.0.1",
    "localhost",
    "[::1]",
]

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_htmx",
    "template_partials",
    "csp",
    "makerlab",
    "makerlab.accounts",
    "makerlab.work",
    "makerlab.audit",
    "lessons",
    "submissions",
    "printing",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "makerlab.middleware.school_time",
    "makerlab.middleware.private_pages",
]

ROOT_URLCONF = "makerlab.urls"
WSGI_APPLICATION = "makerlab.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "makerlab.context.page",
            ],
            "builtins": ["makerlab.templatetags.parts"],
        },
    }
]

DATABASES = databases()
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "accounts.User"
AUTHENTICATION_BACKENDS = ["makerlab.accounts.backends.StaffBackend", "lessons.signin.ClassCodeBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "accounts:sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "accounts:sign-in"
SESSION_COOKIE_AGE = 10 * 3600  # one school day
SESSION_COOKIE_NAME = "makerlab_session"
CSRF_COOKIE_NAME = "makerlab_csrf"

LANGUAGE_CODE = "en"
USE_I18N = True
TIME_ZONE = "UTC"
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT = VAR / "static"
if VAR.exists():
    STATIC_ROOT.mkdir(exist_ok=True)  # filled only by collectstatic; the file server warns when it is not there
MEDIA_ROOT = VAR / "media"  # never under a public URL: files leave through views that check
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True

UPLOAD_MAX_BYTES = 25 * 1024 * 1024
PREPARED_MAX_BYTES = 64 * 1024 * 1024  # a million lines of machine words are about 40 MB
DATA_UPLOAD_MAX_MEMORY_SIZE = 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
FILE_UPLOAD_PERMISSIONS = 0o600

# Background work (DESIGN: the row is the job, a broker is only a doorbell)
REDIS_URL = os.environ.get("REDIS_URL", "")
CELERY_BROKER_URL = REDIS_URL or None
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_WORKER_POOL = "threads"  # prefork children may not start the disposable child that measures a mesh
CELERY_BEAT_SCHEDULE = {"sweep": {"task": "makerlab.work.sweep", "schedule": 5.0}}
CHILD_MEMORY_BYTES = 3 * 1024**3
CHILD_CPU_S = 60
CHILD_WALL_S = 90

SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SESSION_COOKIE_HTTPONLY = True
CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS else None
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'"],
        "connect-src": ["'self'"],
        "font-src": ["'self'"],
        "manifest-src": ["'self'"],
        "form-action": ["'self'"],
        "base-uri": ["'none'"],
        "frame-ancestors": ["'none'"],
    }
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name} {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {"makerlab": {"level": "INFO"}},
}
