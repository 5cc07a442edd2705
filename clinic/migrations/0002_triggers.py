"""Triggers that hold the kept tables append-only. Written by hand: it follows the tables it finds."""

from django.db import migrations

from clinic.record.append_only import InstallTriggers


class Migration(migrations.Migration):
    dependencies = [("clinic", "0001_record")]
    operations = [InstallTriggers()]
