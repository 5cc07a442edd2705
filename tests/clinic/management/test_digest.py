"""Counts and links; no name, record number, telephone, birth date, word of a note or id of a person leaks."""

import re
from datetime import timedelta
from io import StringIO

import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from django.utils import timezone

from clinic.models import Look, Referral
from tests import factories

pytestmark = pytest.mark.django_db


def digest(**options):
    out = StringIO()
    call_command("digest", stdout=out, **options)
    return out.getvalue()


@pytest.fixture
def busy(site):
    today = timezone.localdate()
    people = []
    for n in range(3):
        lesion = factories.lesion(
            on=factories.limb(
                of=factories.person(
                    at=site,
                    given_name=f"Quillon{n}",
                    family_name=f"Marshwiggle{n}",
                    record_number=f"ZZ-77{n}",
                    telephone=f"000 777 {n}",
                    birth_date="1951-02-03",
                )
            )
        )
        who = lesion.limb.person
        people.append(who)
        factories.visit(
            of=who, on=today - timedelta(days=9), next_on=today - timedelta(days=2), note="secret note"
        )
        factories.red_flag(of=who)
        factories.prescription(
            of=lesion.limb,
            device_class="total_contact_cast",
            sealed_on=today - timedelta(days=9),
            open_by=today - timedelta(days=2),
            reason="secret reason",
        )
        Look.objects.create(
            lesion=lesion, asked_at=timezone.now(), question="secret question", created_by=factories.author()
        )
        Referral.objects.create(
            person=who,
            to="vascular",
            urgency="immediate",
            because="secret because",
            made_at=timezone.now(),
            created_by=factories.author(),
        )
    return people


def test_counts_and_links_are_told(busy, site):
    text = digest(base_url="https://clinic.example/")
    for words in (
        "3 non-removable devices past their day: https://clinic.example/today/",
        "3 red flags unanswered",
        "3 referrals not reached",
        "3 visits overdue",
        "3 questions awaiting reply: https://clinic.example/review/",
    ):
        assert words in text
    assert f"?site={site.pk}" in text


def test_nothing_of_anybody_leaks(busy):
    text = digest()
    forbidden = ["secret", "Quillon", "Marshwiggle", "ZZ-", "777", "1951", "metatarsal", "ulcer A", "fever"]
    assert [word for word in forbidden if word.lower() in text.lower()] == []
    # Beyond the date of the head line, every number is a count of the list or the site's own.
    body = text.split("\n\n", 1)[1]
    assert {int(n) for n in re.findall(r"\d+", body)} <= {3, busy[0].site_id}


def test_signatures_and_transfers_that_wait_are_counted(site, other_site):
    limb = factories.limb(of=factories.person(at=site))
    factories.prescription(of=limb, second_needed=True)
    factories.transfer(of=factories.person(at=other_site), to=site)
    text = digest(site=site.short_name)
    assert "1 second signature missing: /today/" in text
    assert "1 transfer to answer: /people/transfers/" in text
    assert "transfer" not in digest(site=other_site.short_name)


def test_an_empty_morning_says_so(site):
    assert "Nothing waits" in digest()


def test_it_goes_to_files_and_by_mail(busy, site, other_site, tmp_path):
    digest(out=tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {f"digest-{s.pk}.txt" for s in (site, other_site)}
    digest(mail=["desk@clinic.example"], site=site.short_name)
    (sent,) = mail.outbox
    assert sent.subject.startswith(site.name)
    assert "3 red flags" in sent.body
    assert "Marshwiggle" not in sent.body


def test_a_wrong_site_or_folder_is_told(site, tmp_path):
    with pytest.raises(CommandError, match="none of the short names"):
        digest(site="nowhere")
    with pytest.raises(CommandError, match="is not a folder"):
        digest(out=tmp_path / "missing")
