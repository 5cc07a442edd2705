from django.apps import AppConfig


class ClinicConfig(AppConfig):
    name = "clinic"
    verbose_name = "Offloading clinic"
