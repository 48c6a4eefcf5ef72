from django.apps import AppConfig


class WorkConfig(AppConfig):
    name = "makerlab.work"
    label = "work"
