"""Settings. What the environment decides is read in ``makerlab/environment.py``; ``manage.py config`` prints it."""

from __future__ import annotations

import os
import secrets
from datetime import timedelta
from importlib.util import find_spec
from ipaddress import ip_network
from typing import Any

import dj_database_url
from django.core.exceptions import ImproperlyConfigured

from makerlab.environment import BASE_DIR as BASE_DIR
from makerlab.environment import read_environment
from makerlab.health.logs import configuration

ENVIRONMENT = read_environment()
VAR = ENVIRONMENT.var
MEGABYTE = 1024 * 1024


def secret_key() -> str:
    """The key from the environment, or one made once and kept in a file only we can read."""
    if ENVIRONMENT.secret_key is not None:
        return ENVIRONMENT.secret_key.get_secret_value()
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


# A server that is away is told of soon, not after two minutes. Who stands still in the middle of a transaction (a
# worker that was frozen) would keep its locks as long as it stands: after two minutes the server takes them back.
# No question is compiled first (jit): that took 0.8 s of the 3.4 of the district's page, at 20 million rows.
POSTGRES_OPTIONS = {"connect_timeout": 5, "options": "-c idle_in_transaction_session_timeout=120s -c jit=off"}


def databases() -> dict[str, Any]:
    """PostgreSQL by DATABASE_URL, else SQLite in WAL mode with short immediate transactions."""
    if ENVIRONMENT.database_url is not None:
        url = ENVIRONMENT.database_url.get_secret_value()
        made = dj_database_url.parse(url, conn_max_age=60, conn_health_checks=True)
        if "postgresql" in made["ENGINE"]:
            made["OPTIONS"] = {**POSTGRES_OPTIONS, **made.get("OPTIONS", {})}
        return {"default": made}
    return {
        "default": {
            "ENGINE": "makerlab.sqlite",
            "TEST": {"NAME": ":memory:"},  # pytest's parallel workers know that only of Django's own engine
            "NAME": VAR / "makerlab.sqlite3",
            # each thread keeps its own open: opening, its settings and the last one's clearing up at the end cost half
            # of a short request (measured: 8 of 18 ms)
            "CONN_MAX_AGE": None,
            "OPTIONS": {
                "transaction_mode": "IMMEDIATE",
                "timeout": 20,
                # FULL: with NORMAL a power cut may take the last transactions back (sqlite.org/pragma.html)
                "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON; "
                "PRAGMA secure_delete=ON;",
            },
        }
    }


def file_store() -> dict[str, Any]:
    """Where uploaded files lie: a folder, or a bucket by MAKERLAB_S3_BUCKET."""
    if not ENVIRONMENT.s3_bucket:
        return {"BACKEND": "makerlab.storage.WholeFiles"}
    if find_spec("storages") is None or find_spec("boto3") is None:
        raise ImproperlyConfigured(
            "MAKERLAB_S3_BUCKET is set, and the packages for it are not installed: pip install 'makerlab[s3]'."
        )
    secret = ENVIRONMENT.s3_secret
    options = {
        "bucket_name": ENVIRONMENT.s3_bucket,
        "endpoint_url": ENVIRONMENT.s3_endpoint or None,
        "region_name": ENVIRONMENT.s3_region or None,
        "access_key": ENVIRONMENT.s3_key or None,
        "secret_key": secret.get_secret_value() if secret else None,
    }
    return {"BACKEND": "makerlab.object_store.ObjectStore", "OPTIONS": options}


SECRET_KEY = secret_key()
DEBUG = False
DEMO = ENVIRONMENT.demo
HTTPS = ENVIRONMENT.https
ALLOWED_HOSTS = ENVIRONMENT.hosts

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
    "axes",
    "makerlab",
    "makerlab.accounts",
    "makerlab.work",
    "makerlab.audit",
    "lessons",
    "submissions",
    "printing",
    "makerlab.api",
]

SINGLE_SIGN_ON = bool(ENVIRONMENT.oidc_issuer)
if SINGLE_SIGN_ON:
    if find_spec("allauth") is None:
        raise ImproperlyConfigured(
            "MAKERLAB_OIDC_ISSUER is set, and the packages for it are not installed: pip install 'makerlab[sso]'."
        )
    INSTALLED_APPS += ["allauth.account", "allauth.socialaccount", "allauth.socialaccount.providers.openid_connect"]

MIDDLEWARE = [
    "makerlab.health.middleware.marked",
    "makerlab.health.middleware.probes",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "makerlab.middleware.known_methods",
    "makerlab.news.quick",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "makerlab.middleware.school_time",
    "makerlab.middleware.private_pages",
    "makerlab.offline.kept_pages",
    "makerlab.accounts.middleware.first_things",
    *(["allauth.account.middleware.AccountMiddleware"] if SINGLE_SIGN_ON else []),
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "makerlab.urls"
WSGI_APPLICATION = "makerlab.wsgi.application"
# the order template-partials asks for, with our own reader in it
LOADERS = [
    ("template_partials.loader.Loader", [("django.template.loaders.cached.Loader", ["makerlab.templating.Loader"])])
]
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "OPTIONS": {
            "loaders": LOADERS,
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
AUTHENTICATION_BACKENDS = [
    "makerlab.accounts.backends.StaffLock",
    "makerlab.accounts.backends.StaffBackend",
    "lessons.signin.ClassCodeBackend",
]
# Ten wrong passwords lock one user name from one address for a quarter of an hour: never the address of a whole school.
AXES_HANDLER = "makerlab.accounts.tries.StaffTries"
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_USERNAME_CALLABLE = "makerlab.accounts.backends.lock_name"
AXES_CLIENT_IP_CALLABLE = "makerlab.accounts.limits.address_of"
AXES_WHITELIST_CALLABLE = "makerlab.accounts.backends.is_student_sign_in"  # students have a lock of their own
AXES_LOCKOUT_CALLABLE = "makerlab.accounts.views.locked_out"
AXES_RESET_ON_SUCCESS = True
AXES_DISABLE_ACCESS_LOG = True  # who signed in stands in our audit trail
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False
AXES_SENSITIVE_PARAMETERS = ["username", "password", "next", "csrfmiddlewaretoken", "ip_address"]
# Staff through the school's own service: the library speaks the protocol (makerlab/accounts/oidc.py), nothing else of
# it is used, and none of its tables ever holds a row
SOCIALACCOUNT_ADAPTER = "makerlab.accounts.oidc.Errors"
SOCIALACCOUNT_REQUESTS_TIMEOUT = 5
SOCIALACCOUNT_PROVIDERS = {
    "openid_connect": {
        "OAUTH_PKCE_ENABLED": True,
        "APPS": [
            {
                "provider_id": "school",
                "name": "school",
                "client_id": ENVIRONMENT.oidc_client,
                "secret": ENVIRONMENT.oidc_secret.get_secret_value() if ENVIRONMENT.oidc_secret else "",
                "settings": {
                    "server_url": ENVIRONMENT.oidc_issuer,
                    "scope": ["openid", "email"],
                    # machines are shared: the service asks who it is each time, whoever is signed in there still
                    "auth_params": {"prompt": "login"},
                },
            }
        ],
    }
}
ACCOUNT_USER_MODEL_EMAIL_FIELD = None
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "accounts:sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "accounts:sign-in"
SESSION_ENGINE = "makerlab.accounts.sessions"
SESSION_COOKIE_AGE = 10 * 3600  # one school day
STUDENT_SESSION_S = 2 * 3600  # a double period: school machines are shared
GIVEN_PASSWORD_DAYS = 14  # a password on paper opens nothing after that
SECOND_STEP_S = 300  # from the right password to the code
# behind TLS the browser itself holds the cookie to this host and to TLS
SESSION_COOKIE_NAME = "__Host-makerlab_session" if HTTPS else "makerlab_session"
CSRF_COOKIE_NAME = "__Host-makerlab_csrf" if HTTPS else "makerlab_csrf"

LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("es", "Español")]  # each by its own name, and only with a whole catalogue
FORMAT_MODULE_PATH = ["makerlab.formats"]
LOCALE_PATHS = [BASE_DIR / "queue" / "meshcheck" / "locale"]  # the apps' own are found by themselves
LANGUAGE_COOKIE_NAME = "makerlab_language"
LANGUAGE_COOKIE_AGE = 365 * 24 * 3600
LANGUAGE_COOKIE_SAMESITE = "Lax"
LANGUAGE_COOKIE_HTTPONLY = True
USE_I18N = True
TIME_ZONE = "UTC"
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT = VAR / "static"
if VAR.exists():
    STATIC_ROOT.mkdir(exist_ok=True)  # filled only by collectstatic; the file server warns when it is not there
MEDIA_ROOT = VAR / "media"  # never under a public URL: files leave through views that check
STORAGES = {
    "default": file_store(),
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True

UPLOAD_MAX_BYTES = ENVIRONMENT.upload_max_mb * MEGABYTE
UPLOADS_AN_HOUR = 60  # of one person
TEAM_MAX_BYTES = 500 * MEGABYTE  # uploads of one team together
SCHOOL_MAX_BYTES = 20 * 1024 * MEGABYTE
PREPARED_MAX_BYTES = ENVIRONMENT.prepared_max_mb * MEGABYTE  # a million lines of machine words are about 40 MB
PACKAGE_MAX_BYTES = 48 * MEGABYTE  # a lesson with its meshes
DATA_UPLOAD_MAX_MEMORY_SIZE = 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
FILE_UPLOAD_PERMISSIONS = 0o600

# Background work (DESIGN: the row is the job, a broker is only a doorbell)
REDIS_URL = ENVIRONMENT.redis_url.get_secret_value() if ENVIRONMENT.redis_url else ""
CELERY_BROKER_URL = REDIS_URL or None
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
# a ring held by a worker that is gone is given to another one after this time; being late or double it does no harm,
# because the row is the job: whoever is rung takes the next one, and finds none when nothing waits
# ... and a broker that is away, or takes connections and answers nothing, holds up a request for seconds, not minutes
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 600, "socket_timeout": 5, "socket_connect_timeout": 3,
    "max_retries": 1, "interval_start": 0.1, "interval_step": 0.1, "interval_max": 0.2,
}  # fmt: skip
CELERY_WORKER_PREFETCH_MULTIPLIER = 1  # a busy worker holds no rings that an idle one could answer
CELERY_WORKER_HIJACK_ROOT_LOGGER = False  # its lines look like all others
CELERY_WORKER_POOL = "threads"  # prefork children may not start the disposable child that measures a mesh
CELERY_BEAT_SCHEDULE = {
    "sweep": {"task": "makerlab.work.sweep", "schedule": 5.0},
    "daily": {"task": "makerlab.work.do_daily", "schedule": 86_400.0},
}
CHILD_MEMORY_BYTES = ENVIRONMENT.child_memory_mb * MEGABYTE
CHILD_CPU_S = ENVIRONMENT.child_cpu_s
CHILD_WALL_S = CHILD_CPU_S + 30  # one that waits, not works, is ended too

API_REQUESTS_A_MINUTE = 120  # of one token
WEBHOOK_NETWORKS = [ip_network(name) for name in ENVIRONMENT.webhook_networks]

# Backups (docs/keeping.md)
BACKUPS = ENVIRONMENT.backups
BACKUP_TO = ENVIRONMENT.backup_to
BACKUP_PASSPHRASE = ENVIRONMENT.backup_passphrase.get_secret_value() if ENVIRONMENT.backup_passphrase else ""

SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SESSION_COOKIE_HTTPONLY = True
CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = LANGUAGE_COOKIE_SECURE = HTTPS
SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS else None
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "object-src": ["'none'"],
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

METRICS_TOKEN = ENVIRONMENT.metrics_token.get_secret_value() if ENVIRONMENT.metrics_token else ""
LOGGING = configuration(ENVIRONMENT.log)
