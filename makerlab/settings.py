"""Temporary shape; replaced in the next commit."""
SECRET_KEY = "x"
INSTALLED_APPS: list[str] = []
USE_TZ = True
