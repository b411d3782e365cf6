"""Django's settings of the casebook. What differs between casebooks comes from `configuration`."""

from __future__ import annotations

from pathlib import Path

import fontpkg_atkinson_hyperlegible
from csp.constants import NONE, SELF

from wetmount.casebook import configuration

DATA_FOLDER = configuration.data_folder()
FILES_FOLDER = DATA_FOLDER / configuration.FILES
DATABASES = {"default": configuration.database(DATA_FOLDER)}
SECRET_KEY = configuration.secret_key(DATA_FOLDER)
DEBUG = False

# The address of the local network is added while the phone is let in (`server.Listener`).
ALLOWED_HOSTS = ["127.0.0.1", "localhost", "[::1]"]

INSTALLED_APPS = ["django.contrib.staticfiles", "django_htmx", "wetmount.casebook"]
MIDDLEWARE = [
    "wetmount.casebook.middleware.Headers",
    "csp.middleware.CSPMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "wetmount.casebook.middleware.LocalTime",
    "wetmount.casebook.middleware.Door",  # before the static files: a stranger is told nothing at all
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "wetmount.casebook.middleware.Refusals",
]
ROOT_URLCONF = "wetmount.casebook.urls"
WSGI_APPLICATION = "wetmount.casebook.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "wetmount.casebook.shell.shell",
            ],
            "builtins": ["wetmount.casebook.templatetags.look"],
        },
    }
]
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

STATIC_URL = "/static/"
STATICFILES_DIRS = [("type", Path(fontpkg_atkinson_hyperlegible.__file__).parent / "files")]
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False
WHITENOISE_MAX_AGE = 0  # asked again each time and answered "unchanged": a new version shows at once

LANGUAGE_CODE = "en-gb"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"  # in the database; pages and "today" go by the clock of the machine, see `clock`

CSRF_COOKIE_NAME = "wetmount_csrf"
CSRF_COOKIE_HTTPONLY = True
CSRF_COOKIE_SAMESITE = "Strict"
CSRF_FAILURE_VIEW = "wetmount.casebook.views.pages.csrf_failed"
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = None  # without meaning over plain http
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "object-src": [NONE],
        "img-src": [SELF, "blob:"],  # blob: a photograph shown before it has been sent
        "media-src": [SELF, "blob:"],
    }
}

DATA_UPLOAD_MAX_MEMORY_SIZE = 2_000_000  # the text of a form; files are counted apart
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2_000
DATA_UPLOAD_MAX_NUMBER_FILES = 20
FILE_UPLOAD_PERMISSIONS = 0o600

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"terminal": {"class": "logging.StreamHandler"}},
    "loggers": {
        "django": {"handlers": ["terminal"], "level": "ERROR", "propagate": False},
        "waitress": {"handlers": ["terminal"], "level": "ERROR", "propagate": False},
    },
}
