"""The web application, for waitress."""

import os

from django.core.wsgi import get_wsgi_application

from makerlab.memory import give_large_back

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "makerlab.settings")
give_large_back()
application = get_wsgi_application()
