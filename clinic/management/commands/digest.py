"""The daily digest of every site: counts and links, no patient data. Printed, kept in a folder, or sent
by mail.
"""

from __future__ import annotations

import smtplib
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.mail import send_mail
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from clinic.models import Site
from clinic.week.reads.digest import digest_of

NOTICE = (
    "Counts only; the cases are behind the links. Supports licensed judgement; follow your local protocol."
)


class Command(BaseCommand):
    help = "Print, keep or mail each clinic's daily digest: counts and links, no patient data."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--base-url", default="", help="address of the program, such as https://clinic.example"
        )
        parser.add_argument("--out", type=Path, help="folder for one text file a clinic")
        parser.add_argument(
            "--mail", nargs="+", metavar="ADDRESS", help="send each digest to these addresses"
        )
        parser.add_argument("--site", help="short name of one clinic; without it all")

    def handle(self, *args: Any, **options: Any) -> None:
        sites = Site.objects.all()
        if options["site"]:
            sites = sites.filter(short_name=options["site"])
            if not sites:
                raise CommandError(
                    f"site: {options['site']} is none of the short names of this clinic's sites"
                )
        if options["out"] is not None and not options["out"].is_dir():
            raise CommandError(f"out: {options['out']} is not a folder")
        if options["mail"] and settings.EMAIL_BACKEND.endswith(".dummy.EmailBackend"):
            raise CommandError("mail: EMAIL_URL is not set, so no mail can be sent")
        for site in sites:
            subject, text = self._text(site, options["base_url"].rstrip("/"))
            if options["out"] is not None:
                (options["out"] / f"digest-{site.pk}.txt").write_text(
                    f"{subject}\n\n{text}", encoding="utf-8"
                )
            if options["mail"]:
                try:
                    send_mail(subject, text, None, options["mail"])
                except (OSError, smtplib.SMTPException) as fault:
                    raise CommandError(
                        f"mail: the digest of {site.name} was not sent: {type(fault).__name__}; "
                        "look at EMAIL_URL and at the mail server"
                    ) from fault
            if options["out"] is None and not options["mail"]:
                self.stdout.write(f"{subject}\n\n{text}\n")

    def _text(self, site: Site, base: str) -> tuple[str, str]:
        now = timezone.now()
        day = timezone.localdate(now)
        lines = digest_of(site, day, now)
        lines_out = [f"{line.words}: {base}{reverse(line.url_name)}?site={site.pk}" for line in lines]
        body = "\n".join(lines_out) or "Nothing waits. This morning's list is empty."
        return f"{site.name}, {date_format(day)}", f"{body}\n\n{NOTICE}\n"
