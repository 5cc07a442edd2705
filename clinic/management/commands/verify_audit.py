"""Check every chain, the digest file and the database's triggers."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from clinic.accounts.writes.digests import all_faults
from clinic.models import AuditEvent, Photo, Site
from clinic.record import append_only


class Command(BaseCommand):
    help = "Name every altered, missing, inserted or cut-off row of the audit chains; exit 1 if there is one."

    def handle(self, *args: Any, **options: Any) -> None:
        found = 0
        for fault in all_faults():
            self.stdout.write(fault)
            found += 1
        for name in append_only.missing(connection):
            self.stdout.write(f"trigger {name} is missing: rows can be altered in the database")
            found += 1
        for photo in Photo.objects.order_by("pk").iterator():
            if not photo.file.storage.exists(str(photo.file.name)):
                self.stdout.write(f"picture of photo {photo.pk} is missing from the store")
                found += 1
        if found:
            raise CommandError(f"{found} fault{'' if found == 1 else 's'}", returncode=1)
        for site in Site.objects.order_by("pk"):
            rows = AuditEvent.objects.filter(site_id=site.pk).count()
            self.stdout.write(f"{site.name}: the chain holds, {rows} rows")
