"""Make each clinic's own figures of its forecasts anew. Run it weekly."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from clinic.audit.writes.recalibration import recalibrate
from clinic.models import Site


class Command(BaseCommand):
    help = "Hold the forecasts of each clinic against its closed courses and keep the figures, dated."

    def handle(self, *args: Any, **options: Any) -> None:
        today = timezone.localdate()
        for site in Site.objects.order_by("short_name"):
            made = recalibrate(site=site, today=today)
            self.stdout.write(f"{site.short_name}: {'made' if made else 'unchanged'}")
