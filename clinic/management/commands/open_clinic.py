"""Set up a real clinic: its site with its numbers, and the first manager with a one-time link."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from clinic.accounts.writes.accounts import link_make
from clinic.accounts.writes.digests import make_key
from clinic.demo.play import PASSWORD
from clinic.models import Role, Site, User
from clinic.record.writes import audit
from clinic.rules.writes.house_rules import TELEPHONES, telephone_fault, telephone_words

ASKED = {
    "name": "Name of the clinic",
    "short_name": "Short name (letters, for lists)",
    **{name: telephone_words(name) for name in TELEPHONES},
    "manager_username": "User name of the first manager",
    "manager_first_name": "Given name",
    "manager_last_name": "Family name",
}


class Command(BaseCommand):
    help = (
        "Open a real clinic. It does not finish without the national emergency number and a number to call "
        "for each urgency, in hours and out of hours."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        for name, words in ASKED.items():
            parser.add_argument(f"--{name.replace('_', '-')}", help=words)
        parser.add_argument(
            "--no-input", action="store_true", help="ask nothing; everything is given by options"
        )

        parser.add_argument(
            "--no-second-factor",
            action="store_true",
            help="do not ask podiatrists and managers for a second factor (a manager can ask for it later)",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if any(user.check_password(PASSWORD) for user in User.objects.filter(is_active=True)[:20]):
            raise CommandError(
                "demonstration logins exist in this database: a real clinic starts with an empty one"
            )
        answers = {}
        for name, words in ASKED.items():
            value = options[name]
            if value is None and not options["no_input"]:
                value = input(f"{words}: ")
            answers[name] = (value or "").strip()
        for name in TELEPHONES:
            if fault := telephone_fault(name, answers[name]):
                raise CommandError(
                    f"{fault}. A clinic is not opened without the national emergency number and one for each "
                    "urgency, in hours and out of hours, because the sheet of a red flag shows them"
                )
        for name, value in answers.items():
            if not value:
                raise CommandError(f"{ASKED[name]} is missing")
        with transaction.atomic():
            if Site.objects.filter(short_name=answers["short_name"]).exists():
                raise CommandError(f"Short name: {answers['short_name']} is taken")
            if User.objects.filter(username__iexact=answers["manager_username"]).exists():
                raise CommandError(f"User name: {answers['manager_username']} is taken")
            site = Site(
                **{name: answers[name] for name in ("name", "short_name", *TELEPHONES)},
                second_factor=not options["no_second_factor"],
            )
            try:
                site.full_clean()
            except ValidationError as fault:
                raise CommandError("; ".join(fault.messages)) from fault
            site.save()
            manager = User(
                username=answers["manager_username"],
                first_name=answers["manager_first_name"],
                last_name=answers["manager_last_name"],
                role=Role.MANAGER,
            )
            manager.set_unusable_password()
            manager.save()
            manager.sites.add(site)
            token = link_make(manager, manager, "invite")
            audit.record(by=manager, site=site, verb="opened", target=site, also=[manager])
        self.stdout.write(
            f"{site.name} is open. Its first manager sets a password at, once, within 72 hours:"
        )
        self.stdout.write(f"  /account-link/{token}/")
        self.stdout.write(
            "Podiatrists and managers are asked for a second factor: they enrol it at their first sign-in."
            if site.second_factor
            else "No second factor is asked for: a password alone opens the record. Settings turns it on."
        )
        if key := make_key():
            self.stdout.write(
                f"The key of the digest file is made: {key}. Keep a copy apart from the backups."
            )
        self.stdout.write("Next: House rules (margins, foams, ages of findings), Accounts, Settings.")
