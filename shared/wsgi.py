"""The web server's entry point: `gunicorn shared.wsgi`."""

from __future__ import annotations

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")
application = get_wsgi_application()
