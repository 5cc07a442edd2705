from django.apps import AppConfig


class OffloadConfig(AppConfig):
    name = "offload"
    verbose_name = "Insole relief plans"
