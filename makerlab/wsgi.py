"""The web application, for waitress."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "makerlab.settings")
application = get_wsgi_application()
