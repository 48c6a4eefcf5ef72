"""The web application, for waitress."""

import os
import sys

from django.core.wsgi import get_wsgi_application

from makerlab.memory import give_large_back

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "makerlab.settings")
give_large_back()
# A short request gives the interpreter up at every question to the database, and gets it back when the thread that took
# it has had its turn: Python's 5 ms a turn make a crowd wait.
sys.setswitchinterval(0.001)
application = get_wsgi_application()
