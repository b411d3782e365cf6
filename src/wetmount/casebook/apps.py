"""The application as Django knows it."""

from django.apps import AppConfig


class CasebookConfig(AppConfig):
    name = "wetmount.casebook"
    label = "casebook"
    verbose_name = "Casebook"
