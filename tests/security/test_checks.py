# ruff: noqa: S608  names of our own tables
"""The check of the record raises no false alarm, and what it finds reaches who has to know."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection, transaction
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.reads.checks import faults_standing
from clinic.accounts.writes import digests
from clinic.accounts.writes.breakglass import glass_break
from clinic.accounts.writes.check_places import small_copy_differences, standing_differences
from clinic.accounts.writes.erasure import person_erase
from clinic.accounts.writes.verification import verify_and_keep
from clinic.capture.writes.photos import photo_store, thumbnail_name
from clinic.models import Person, PhotoConsent, Transfer, User, Verification
from clinic.people.reads.merging import merge_preview
from clinic.people.writes.merging import merge_undo, person_merge
from clinic.people.writes.people import person_register, weight_add
from clinic.people.writes.transfers import transfer_accept, transfer_ask, transfer_undo
from clinic.record.writes import audit
from tests import factories
from tests.clinic.month.play import Month
from tests.security import played
from tests.security.tampering import folders, named_after, sets, without_triggers
from tests.security.test_faults import picture

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _folders(settings, tmp_path):
    for name, value in folders(tmp_path).items():
        setattr(settings, name, value)


#: The trigger, and the statements after which it is there by its name and refuses nothing.
NAME = "clinic_historicalweight_no_update"
ON = f"{NAME} ON clinic_historicalweight"
CREATE = f"CREATE TRIGGER {NAME} BEFORE UPDATE ON clinic_historicalweight"
EMPTY = "RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NEW; END $$"
ELSEWHERE = "CREATE SCHEMA gift; CREATE FUNCTION gift.clinic_append_only()"
PERMIT = "CREATE TABLE gift.clinic_erasurepermit (person_id integer)"
WAYS = {
    "sqlite": {
        "a condition that is never met": (
            f"DROP TRIGGER {NAME}",
            f"{CREATE} WHEN 0 BEGIN SELECT RAISE(ABORT, 'clinic_historicalweight is append-only'); END",
        ),
        "another text": (f"DROP TRIGGER {NAME}", f"{CREATE} BEGIN SELECT 1; END"),
        "no trigger": (f"DROP TRIGGER {NAME}",),
    },
    "postgresql": {
        "a condition that is never met": (
            f"DROP TRIGGER {ON}",
            f"{CREATE} FOR EACH ROW WHEN (false) EXECUTE FUNCTION clinic_append_only('door')",
        ),
        "for one column only": (
            f"DROP TRIGGER {ON}",
            f"CREATE TRIGGER {NAME} BEFORE UPDATE OF salt ON clinic_historicalweight FOR EACH ROW "
            "EXECUTE FUNCTION clinic_append_only('door')",
        ),
        "no trigger": (f"DROP TRIGGER {ON}",),
        "switched off": (f"ALTER TABLE clinic_historicalweight DISABLE TRIGGER {NAME}",),
        "for replicas only": (f"ALTER TABLE clinic_historicalweight ENABLE REPLICA TRIGGER {NAME}",),
        "a session that says it is a replica": ("SET LOCAL session_replication_role = replica",),
        "a function of another body": (f"CREATE OR REPLACE FUNCTION clinic_append_only() {EMPTY}",),
        "a function of the same name elsewhere": (
            f"{ELSEWHERE} {EMPTY}",
            f"DROP TRIGGER {ON}",
            f"{CREATE} FOR EACH ROW EXECUTE FUNCTION gift.clinic_append_only('door')",
        ),
        "a permit that is looked for elsewhere": (
            f"CREATE SCHEMA gift; {PERMIT}; INSERT INTO gift.clinic_erasurepermit VALUES (1)",
            "ALTER FUNCTION clinic_append_only() SET search_path = gift, public",
        ),
        "a rule before the trigger": (
            "CREATE RULE gift AS ON UPDATE TO clinic_historicalweight DO INSTEAD NOTHING",
        ),
    },
}


@pytest.mark.parametrize("way", WAYS[connection.vendor])
def test_a_trigger_that_no_longer_refuses_is_named(append_only, person, staff, way):
    """However it was brought about: first it is shown that the database no longer refuses."""
    weight_add(by=staff, person=person, kg=91, measured_on=timezone.localdate(), how="scales")
    with connection.cursor() as cursor:
        assert list(standing_differences()) == []
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")  # a table with checks to come cannot be changed
        for statement in WAYS[connection.vendor][way]:
            cursor.execute(statement)
        cursor.execute("UPDATE clinic_historicalweight SET kg = 44")
        named = [fault.words for fault in standing_differences()]
        assert any("clinic_historicalweight" in one or "append_only" in one or "gift" in one for one in named)


def test_what_stood_before_is_said_to_who_runs_the_check_and_kept_nowhere():
    played.play_clinic(1)
    sets("clinic_person", "given_name", "Altered")()
    stood = Person.history.order_by("-history_id").first().given_name
    kept, found = verify_and_keep(full=True)
    fault = next(one for one in found if one.words.startswith("clinic_person: row"))
    assert f"it is 'Altered', it was '{stood}'" in str(fault)
    assert stood not in json.dumps(kept.words)
    assert kept.faults == len(found) > 0


def test_the_daily_part_names_what_was_changed_since_the_last_line():
    site = played.play_clinic(1)
    staff = User.objects.get(role="staff", username="nora")
    person = Person.objects.filter(site=site).first()
    weight = weight_add(by=staff, person=person, kg=91, measured_on=timezone.localdate(), how="scales")
    assert without_triggers(full=False) == []
    change = sets("clinic_weight", "kg", 44, f"id = {weight.pk}")
    assert any(f"clinic_weight: row {weight.pk}, column kg" in one for one in named_after(change, full=False))


def test_neither_merge_nor_transfer_nor_erasure_nor_an_emptied_glass_is_a_false_alarm():
    site = played.play_clinic(6)
    other = factories.site(name="Other clinic")
    manager = User.objects.get(role="manager", sites=site)
    podiatrist = factories.user("podiatrist", at=other)
    with transaction.atomic():
        audit.record(by=None, site=other, verb="opened", target=other, also=[podiatrist])
    people = list(Person.objects.filter(site=site).order_by("pk"))
    glass_break(
        by=podiatrist,
        site=site,
        record_number=people[0].record_number,
        birth_date=people[0].birth_date,
        reason="unconscious in the corridor",
    )
    nurse = User.objects.get(role="staff", username="nora")
    asked = transfer_ask(by=nurse, person=people[1], to_site=other, because="moved into that town")
    transfer_accept(by=podiatrist, transfer=asked, record_number="OTHER-1")
    assert without_triggers() == []
    transfer_undo(by=podiatrist, transfer=Transfer.objects.get(pk=asked.pk), because="moved back again")
    assert without_triggers() == []
    kept, emptied = (
        person_register(
            by=nurse,
            site=site,
            given_name=name,
            family_name="Twiceknown",
            record_number=f"V-{name}",
            birth_date=people[0].birth_date,
        )
        for name in ("Ann", "Anne")
    )
    weight_add(by=nurse, person=emptied, kg=70, measured_on=timezone.localdate(), how="scales")
    mark = merge_preview(kept, emptied).mark
    mistaken = person_merge(by=manager, kept=kept, emptied=emptied, because="thought to be one", mark=mark)
    assert without_triggers() == []
    merge_undo(by=manager, merge=mistaken, because="they are two people")
    assert without_triggers() == []
    for gone in (people[0], emptied):
        who = Person.objects.get(pk=gone.pk)
        person_erase(by=manager, person=who, typed_number=who.record_number, ground="Request of May, Art. 17")
        assert without_triggers() == []
    digests.write()
    assert without_triggers() == []


def test_a_month_of_a_clinic_has_no_false_alarm():
    month = Month(12, seed=2026)
    with transaction.atomic():
        audit.record(
            by=None, site=month.site, verb="opened", target=month.site, also=[month.staff, month.podiatrist]
        )
    month.run(30, lists=False)
    digests.write()
    assert sum(month.figures.happened.values()) > 50
    assert without_triggers() == []


def test_a_failed_check_is_a_stop_for_managers_until_the_whole_record_is_well(as_manager, as_staff):
    Verification.objects.create(
        at=timezone.now(), full=False, faults=2, words=["clinic_weight: row 7 is gone"], rows=9, seconds=1
    )
    page = as_manager.get(reverse("settings"))
    assert "The check of the record found 2 differences." in page.content.decode()
    assert "The check of the record" not in as_staff.get(reverse("today")).content.decode()
    told = as_manager.get(reverse("record_checks"))
    assert "clinic_weight: row 7 is gone" in told.content.decode()
    well = {"faults": 0, "rows": 9, "seconds": 1}
    Verification.objects.create(at=timezone.now(), full=False, **well)
    assert faults_standing() == 2
    Verification.objects.create(at=timezone.now(), full=True, **well)
    assert faults_standing() == 0
    assert "The check of the record" not in as_manager.get(reverse("settings")).content.decode()


def test_a_small_copy_that_was_exchanged_is_named_and_not_shown(as_podiatrist, podiatrist, site):
    person = factories.person(at=site)
    lesion = factories.lesion(on=factories.limb(of=person))
    today = timezone.localdate()
    with transaction.atomic():
        PhotoConsent.objects.create(person=person, given_on=today, created_by=podiatrist)
        photo = photo_store(by=podiatrist, lesion=lesion, taken_on=today, upload=picture())
    first = as_podiatrist.get(reverse("photo_thumb", args=[photo.pk])).content
    small = Path(photo.file.storage.path(thumbnail_name(photo)))
    assert small.read_bytes() == first
    assert list(small_copy_differences()) == []
    small.write_bytes(picture().getvalue())
    assert [one.words for one in small_copy_differences()] == [
        f"clinic_photo: small copy of row {photo.pk} is not the one that was stored"
    ]
    assert as_podiatrist.get(reverse("photo_thumb", args=[photo.pk])).content == first
    small.unlink()
    assert list(small_copy_differences()) == []


@pytest.mark.parametrize("where", ["digests", "second"])
def test_a_line_changed_at_one_of_the_two_places_is_named(settings, tmp_path, where, site):
    settings.DIGEST_SECOND_DIR = tmp_path / "second"
    digests.write()
    digests.write()
    assert list(digests.faults()) == []
    file = tmp_path / where / "heads.jsonl"
    file.write_text("".join(file.read_text().splitlines(keepends=True)[:1]))
    found = list(digests.faults())
    assert any("second place" in one for one in found) if where == "digests" else found == []
    file.write_text(file.read_text().replace('"rows": 0', '"rows": 5'))
    assert any("is not the one at the second place" in one for one in digests.faults())


def test_without_its_key_no_line_is_written_in_production_nor_beside_older_lines(settings, site):
    settings.PRODUCTION = True
    with pytest.raises(digests.KeyFault, match="is missing"):
        digests.write()
    settings.PRODUCTION = False
    digests.write()
    key = Path(settings.DIGEST_KEY_FILE)
    assert key.stat().st_mode & 0o777 == 0o600
    key.unlink()
    with pytest.raises(digests.KeyFault, match="is missing"):
        digests.write()
    assert any("is missing" in one for one in digests.faults())


def test_a_chain_of_some_days_without_any_line_is_a_fault(site, monkeypatch):
    ago = timezone.now() - timedelta(days=3)
    with monkeypatch.context() as earlier, transaction.atomic():
        earlier.setattr("django.utils.timezone.now", lambda: ago)
        audit.record(by=None, site=site, verb="opened", target=site)
    assert any(f"has no line of site {site.pk}" in one for one in digests.faults())
    digests.write()
    assert list(digests.faults()) == []
    digests.path().unlink()
    assert any("has 0 lines; on" in one for one in digests.faults())
