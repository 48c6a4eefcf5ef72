from django.apps import AppConfig


class AuditConfig(AppConfig):
    name = "makerlab.audit"
    label = "audit"
