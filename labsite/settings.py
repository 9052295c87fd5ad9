"""Settings of the site, read strictly from the environment; a clone with nothing set runs on SQLite and files."""

from __future__ import annotations

import secrets
from pathlib import Path

from csp.constants import NONE, SELF

from labsite import environment
from labsite.databases import database

BASE_DIR = Path(__file__).resolve().parent.parent
VAR = environment.folder("WITHSTAND_VAR", BASE_DIR / "var")
VAR.mkdir(parents=True, exist_ok=True)


def _local_secret(path: Path) -> str:
    """Return the secret kept beside the embedded database, made on the first start."""
    if not path.exists():
        path.write_text(secrets.token_urlsafe(64), encoding="ascii")
        path.chmod(0o600)
    return path.read_text(encoding="ascii").strip()


# Production says so; the embedded default is for one machine behind its own door.
PRODUCTION = environment.switch("WITHSTAND_PRODUCTION", False)
DEBUG = environment.switch("WITHSTAND_DEBUG", False)
SECRET_KEY = environment.text(
    "WITHSTAND_SECRET_KEY", None if PRODUCTION else _local_secret(VAR / "secret"), at_least=50
)
ALLOWED_HOSTS = environment.names("WITHSTAND_HOSTS", "localhost,127.0.0.1,[::1],testserver")
CSRF_TRUSTED_ORIGINS = environment.names("WITHSTAND_ORIGINS", "")

DATABASES = {"default": database(environment.text("DATABASE_URL", ""), VAR)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
SILENCED_SYSTEM_CHECKS = ["models.W040"]  # an index with further columns has them on PostgreSQL, where it matters
REDIS_URL = environment.text("REDIS_URL", "")

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "labsite.people",  # above allauth: its templates come first
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "rest_framework",
    "drf_spectacular",
    "django_htmx",
    "csp",
    "labsite.ui",
    "labsite.ledger",
    "labsite.jobs",
    "equipment",
    "schedules",
    "records",
    "records.portal",
]

MIDDLEWARE = [
    "labsite.ui.middleware.RequestId",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "labsite.ui.middleware.RefuseNul",
    "labsite.ui.middleware.ReadOnlyGet",
    "labsite.ledger.middleware.OnceMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "labsite.ui.middleware.CacheHeaders",
]

ROOT_URLCONF = "labsite.urls"
WSGI_APPLICATION = "labsite.wsgi.application"
ASGI_APPLICATION = "labsite.asgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "labsite" / "ui" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "labsite.ui.context.page",
            ],
        },
    },
]

# People and sign-in
AUTH_USER_MODEL = "people.User"
AUTHENTICATION_BACKENDS = ["labsite.people.backends.ActiveAccounts"]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "home"
ACCOUNT_ADAPTER = "labsite.people.adapter.AccountAdapter"
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*", "password2*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_LOGOUT_REDIRECT_URL = "account_login"
ACCOUNT_REAUTHENTICATION_TIMEOUT = 300
ACCOUNT_FORMS = {"login": "labsite.people.web.sign_in.SignInForm"}
ACCOUNT_RATE_LIMITS = {"login_failed": "10/m/ip,5/300s/key"}
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes"]
MFA_TRUST_ENABLED = False
MFA_ADAPTER = "labsite.people.second_factor.SecondFactorAdapter"
STEP_UP_SECONDS = environment.whole_number("WITHSTAND_STEP_UP_SECONDS", 300, minimum=10, maximum=3600)
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 15}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
SESSION_COOKIE_AGE = 12 * 3600
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_HTTPONLY = True
CSRF_FAILURE_VIEW = "labsite.ui.web.errors.form_not_trusted"

# Every process must see the same counters, so the cache is shared: Redis, else a table.
CACHES = {
    "default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": REDIS_URL}
    if REDIS_URL
    else {"BACKEND": "django.core.cache.backends.db.DatabaseCache", "LOCATION": "shared_cache"}
}

# What the browser may do
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "style-src-attr": ["'unsafe-inline'"],  # Plotly sets style attributes on its own marks
        "img-src": [SELF, "data:", "blob:"],
        "connect-src": [SELF],
        "font-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
        "object-src": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
if PRODUCTION:
    SECURE_SSL_REDIRECT = environment.switch("WITHSTAND_SSL_REDIRECT", True)
    SECURE_REDIRECT_EXEMPT = [r"^health/$"]
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_HSTS_SECONDS = 31_536_000
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True
    SESSION_COOKIE_NAME = "__Host-sessionid"
    CSRF_COOKIE_NAME = "__Host-csrftoken"

# Files
STATIC_URL = "/static/"
STATIC_ROOT = VAR / "static"
STATIC_ROOT.mkdir(exist_ok=True)
STATIC_ROOT.mkdir(exist_ok=True)
MEDIA_ROOT = VAR / "files"
UPLOAD_LIMIT_BYTES = environment.whole_number("WITHSTAND_UPLOAD_LIMIT_MB", 512, minimum=1) * 2**20
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 2**20
FILE_UPLOAD_TEMP_DIR = VAR / "incoming"
FILE_UPLOAD_TEMP_DIR.mkdir(exist_ok=True)
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PRODUCTION
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
WHITENOISE_USE_FINDERS = not PRODUCTION

# Jobs: the table is the truth, Celery wakes the workers
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE = {
    "jobs.sweep": {"task": "jobs.sweep", "schedule": 2.0},
    "equipment.remind": {"task": "equipment.remind", "schedule": 3600.0},
}

# API
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "labsite.people.tokens.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser", "rest_framework.parsers.MultiPartParser"],
    "DEFAULT_PAGINATION_CLASS": "rest_framework.pagination.PageNumberPagination",
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "PAGE_SIZE": 50,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Withstand",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "ENUM_NAME_OVERRIDES": {
        "RunState": "records.models.run.Run.State",
        "RecordState": "records.models.record.Record.State",
        "CertificateState": "records.models.certificate.Certificate.State",
        "InstrumentState": "equipment.models.instrument.Instrument.State",
        "Verdict": "records.models.verdicts.Verdict",
        "CalibrationVerdict": "equipment.models.calibration.Calibration.Verdict",
        "StepKind": "schedules.api.serializers.STEP_KIND_CHOICES",
    },
}

EMAIL_BACKEND = environment.text("WITHSTAND_EMAIL_BACKEND", "django.core.mail.backends.filebased.EmailBackend")
EMAIL_FILE_PATH = VAR / "mail"
DEFAULT_FROM_EMAIL = environment.text("WITHSTAND_MAIL_FROM", "laboratory@withstand.example")

LANGUAGE_CODE = "en-gb"
TIME_ZONE = environment.text("WITHSTAND_TIME_ZONE", "UTC")
USE_TZ = True
USE_I18N = False
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": environment.text("WITHSTAND_LOG_LEVEL", "WARNING")},
}
