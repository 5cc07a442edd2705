from django.apps import AppConfig


class ClinicConfig(AppConfig):
    name = "clinic"
    verbose_name = "Offloading clinic"

    def ready(self) -> None:
        from clinic.config import checks  # noqa: F401  registers the check that `migrate` asks first
