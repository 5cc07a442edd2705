# ruff: noqa: S608  names of our own tables
"""The check of the record names every change made past the program, and none that the program made."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from cryptography.fernet import Fernet
from django.db import connection, transaction
from django.urls import reverse
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clinic.accounts.reads.checks import faults_standing
from clinic.accounts.writes import digests
from clinic.accounts.writes.breakglass import glass_break
from clinic.accounts.writes.erasure import person_erase
from clinic.accounts.writes.verification import verify_and_keep
from clinic.models import AuditEvent, Person, Photo, Transfer, User, Verification
from clinic.people.reads.merging import merge_preview
from clinic.people.writes.merging import merge_undo, person_merge
from clinic.people.writes.people import person_register, weight_add
from clinic.people.writes.transfers import transfer_accept, transfer_ask, transfer_undo
from clinic.record import append_only as append_only_module
from clinic.record.writes import audit
from tests import factories
from tests.clinic.month.play import Month
from tests.security import played

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _folders(settings, tmp_path):
    settings.DIGEST_DIR = tmp_path / "digests"
    settings.DIGEST_KEY_FILE = tmp_path / "keys" / "digest"
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(tmp_path / "media"), "base_url": None},
        },
    }


def test_a_played_clinic_has_no_fault(append_only):
    played.play_clinic(3)
    assert [str(fault) for fault in played.faults()] == []
    assert [str(fault) for fault in played.faults(full=False)] == []


#: Tables that the check does not follow, and why; every other table of ours is in the sweep below.
NOT_FOLLOWED = {
    "clinic_accountlink": "hashed as a part of its account",
    "clinic_problem": "no part of the record: a page and a kind",
    "clinic_signin": "which browsers are signed in, gone within a day",
    "clinic_verification": "what an earlier check found; the check can be run again",
    "clinic_user_groups": "groups decide nothing here",
    "clinic_user_user_permissions": "permissions decide nothing here",
    "clinic_erasurepermit": "empty: a row is itself a fault",
}
#: Columns that may change without a change of the record: numbers of storage, the time of a sign-in.
NOT_HASHED = {("clinic_user", "last_login"), ("clinic_auditevent", "id"), ("clinic_viewbatch", "id")}


def followed():
    with connection.cursor() as cursor:
        names = connection.introspection.table_names(cursor)
    return sorted(n for n in names if n.startswith(("clinic_", "offload_")) and n not in NOT_FOLLOWED)


def place(table, key, row):
    """How the check names a row: its table, and the number by which it is known."""
    if table == "clinic_auditevent":
        return table, f"row {row['sequence']} of site {row['site_id']}"
    if table in ("clinic_viewevent", "clinic_viewbatch"):
        return "clinic_view", f"of site {row['site_id']}"
    if table == "clinic_user_sites":
        return "clinic_user", f"row {row['user_id']}"
    if "history_id" in row and "m2m_history_id" in row:
        return table.rpartition("_")[0], f"row {row['history_id']}"
    if "_lesions" in table and "historical" not in table:
        owner = table.removesuffix("_lesions")
        return table, f"{owner} row {row[owner.removeprefix('clinic_') + '_id']}"
    return table, f"row {key}"


def key_column(table):
    with connection.cursor() as cursor:
        return connection.introspection.get_primary_key_column(cursor, table)


def row_of(table, column, key):
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT * FROM "{table}" WHERE "{column}" = %s', [key])
        return dict(zip([d[0] for d in cursor.description], cursor.fetchone(), strict=True))


def without_triggers(*, full=True):
    """What the check says, but of the triggers: tests stand without them, so that they can tamper."""
    return [fault.words for fault in played.faults(full=full) if not fault.words.startswith("trigger ")]


class Undo(Exception):
    pass


def named_after(change, *, full=True):
    """What the check says once something was changed past the program; the change is then taken back."""
    if connection.vendor == "sqlite":
        played.sql("PRAGMA ignore_check_constraints = ON")
    words = None
    try:
        with transaction.atomic():
            change()
            words = without_triggers(full=full)
            raise Undo
    except Undo:
        pass
    return words


def _first(table, where):
    key = key_column(table)
    return f'"{key}" = (SELECT MIN("{key}") FROM "{table}" WHERE {where})'


def sets(table, column, value, where="1 = 1"):
    return lambda: played.sql(f'UPDATE "{table}" SET "{column}" = %s WHERE {_first(table, where)}', value)


def removes(table, where="1 = 1"):
    return lambda: played.sql(f'DELETE FROM "{table}" WHERE {_first(table, where)}')


def test_any_change_of_any_row_is_named_at_its_table_and_row():
    """Twenty-five changes drawn over every table, column and row; the draw is new each time."""
    played.play_clinic(4)
    tables = [t for t in followed() if played.one(f'SELECT COUNT(*) FROM "{t}"')]
    assert len(tables) > 30
    seen = set()

    @given(st.data())
    @settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
    def law(data):
        table = data.draw(st.sampled_from(tables), label="table")
        key = key_column(table)
        with connection.cursor() as cursor:
            cursor.execute(f'SELECT "{key}" FROM "{table}" ORDER BY 1')
            keys = [number for (number,) in cursor.fetchall()]
        number = data.draw(st.sampled_from(keys), label="row")
        row = row_of(table, key, number)
        kinds = played.columns(table)
        options = sorted(
            c for c in row if c != key and (table, c) not in NOT_HASHED and c != "m2m_history_id"
        )
        column = data.draw(st.sampled_from([*options, "(the whole row)"]), label="column")
        if column == "(the whole row)":

            def change():
                played.sql(f'DELETE FROM "{table}" WHERE "{key}" = %s', number)
        else:
            value = played.another(row[column], kinds[column])

            def change():
                played.sql(f'UPDATE "{table}" SET "{column}" = %s WHERE "{key}" = %s', value, number)

        words = named_after(change)
        where, what = place(table, number, row)
        if table == "clinic_auditevent" and column == "(the whole row)":
            what = f"of site {row['site_id']}"
        assert any(where in one and re.search(rf"{re.escape(what)}\b", one) for one in words), (
            where,
            what,
            words,
        )
        seen.add((table, column))

    law()
    assert len(seen) > 15
    assert without_triggers() == []


def delete_chain():
    for table in ("clinic_auditevent", "clinic_viewbatch", "clinic_viewevent"):
        played.sql(f"DELETE FROM {table}")
    digests.path().unlink()


def rehash():
    """Change a row of the chain, and write every digest after it and the whole digest file anew."""
    played.sql("UPDATE clinic_auditevent SET actor = 'Nobody' WHERE sequence = 3")
    previous = ""
    for event in AuditEvent.objects.order_by("sequence"):
        event.previous_digest, event.digest = previous, ""
        previous = event.digest = audit.digest_of(event)
        event.save()
    lines, bound = [json.loads(text) for text in digests.path().read_text().splitlines()], ""
    for line in lines:
        line.pop("line")
        line["digest"] = AuditEvent.objects.get(sequence=line["rows"]).digest
        bound = line["line"] = digests._bound(line, bound, b"another key" * 3)
    digests.path().write_text("".join(json.dumps(line, sort_keys=True) + "\n" for line in lines))


def cut_lines(keep):
    text = digests.path().read_text().splitlines(keepends=True)
    digests.path().write_text("".join(text[:keep]))


def overwrite_photo():
    file = Photo.objects.order_by("pk").first().file
    Path(file.path).write_bytes(Path(file.path).read_bytes() + b"x")


def cut_tail():
    played.sql(
        "DELETE FROM clinic_auditevent WHERE sequence > (SELECT MAX(sequence) - 3 FROM clinic_auditevent)"
    )


def cut_tail_and_file():
    cut_tail()
    digests.path().unlink()


def permit_and_delete():
    played.sql("INSERT INTO clinic_erasurepermit (person_id) VALUES (1)")
    removes("clinic_historicalweight")()
    played.sql("DELETE FROM clinic_erasurepermit")


def swap():
    a, b = AuditEvent.objects.get(sequence=4), AuditEvent.objects.get(sequence=5)
    played.sql("UPDATE clinic_auditevent SET sequence = 99999 WHERE id = %s", a.pk)
    played.sql("UPDATE clinic_auditevent SET sequence = 4 WHERE id = %s", b.pk)
    played.sql("UPDATE clinic_auditevent SET sequence = 5 WHERE id = %s", a.pk)


#: Twenty-five ways to change the record past the program: name, change, words the check must say.
CASES = [
    ("a row of the chain altered", sets("clinic_auditevent", "actor", "Nobody"), "clinic_auditevent: row 1 "),
    ("two rows of the chain swapped", swap, "clinic_auditevent: row 4 "),
    ("a middle row of the chain deleted", removes("clinic_auditevent", "sequence = 6"), "row 6 of site"),
    ("the tail of the chain cut", cut_tail, "row"),
    ("chain and digest file written anew", rehash, "line 1 of heads.jsonl"),
    (
        "a person changed",
        sets("clinic_person", "given_name", "Other"),
        "clinic_person: row 1, column given_name",
    ),
    (
        "a measurement changed",
        sets("clinic_measurement", "length_mm", 1),
        "clinic_measurement: row 1, column length",
    ),
    ("a measurement deleted", removes("clinic_measurement"), "clinic_measurement: row 1 is gone"),
    ("a weight changed", sets("clinic_weight", "kg", 44), "clinic_weight: row 1, column kg"),
    ("a visit deleted", removes("clinic_visit"), "clinic_visit: row 1 is gone"),
    (
        "a telephone number changed",
        sets("clinic_site", "telephone_immediate_in_hours", "0"),
        "clinic_site: row ",
    ),
    ("a user made manager", sets("clinic_user", "role", "manager", "role = 'staff'"), "clinic_user: row "),
    ("a user's password replaced", sets("clinic_user", "password", "x"), "clinic_user: row "),
    ("a copy edited", sets("clinic_historicalweight", "kg", 44), "clinic_historicalweight: row 1"),
    ("a copy deleted", removes("clinic_historicalweight"), "clinic_historicalweight: row 1"),
    ("a copy deleted behind a permit", permit_and_delete, "clinic_historicalweight: row 1"),
    (
        "a permit left standing",
        lambda: played.sql("INSERT INTO clinic_erasurepermit (person_id) VALUES (7)"),
        "clinic_erasurepermit: row 7",
    ),
    ("a person's key deleted", removes("clinic_personkey"), "clinic_personkey: row 1 is gone without"),
    (
        "a person's key replaced",
        sets("clinic_personkey", "key", Fernet.generate_key().decode()),
        "clinic_personkey: row 1 does not open",
    ),
    ("a photograph overwritten", overwrite_photo, "clinic_photo: file of row 1 is not the one"),
    ("a plan's result emptied", sets("offload_reliefplan", "result", "{}"), "offload_reliefplan: row 1"),
    ("the digest file cut", lambda: cut_lines(1), "heads.jsonl has 1 lines; on"),
    ("the digest file and the tail gone", cut_tail_and_file, "heads.jsonl has no line of site"),
    ("the whole chain and the file gone", delete_chain, "clinic_historicalweight: row 1"),
    (
        "a prescription changed",
        sets("clinic_prescription", "reason", "x"),
        "clinic_prescription: row 1, column",
    ),
]


def test_twenty_five_ways_to_change_the_record_are_each_named():
    played.play_clinic(4)
    text = digests.path().read_text()
    picture = Photo.objects.order_by("pk").first().file
    stored = Path(picture.path).read_bytes()
    missed = {}
    for name, change, words in CASES:
        found = named_after(change)
        digests.path().write_text(text)
        Path(picture.path).write_bytes(stored)
        if not any(words in one for one in found):
            missed[name] = found
    assert len(CASES) == 25
    assert missed == {}
    assert without_triggers() == []


def test_a_trigger_of_the_same_name_that_never_fires_is_named(append_only):
    name = "clinic_historicalweight_no_update"
    assert append_only_module.altered(connection) == []
    text = append_only_module._create(connection.vendor, "clinic_historicalweight", "update", True)
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(f'DROP TRIGGER "{name}"')
            cursor.execute(re.sub("WHEN .*BEGIN", "WHEN 0 BEGIN", text))
        else:
            cursor.execute(f'DROP TRIGGER "{name}" ON clinic_historicalweight')
            cursor.execute(text.replace("FOR EACH ROW", "FOR EACH ROW WHEN (false)"))
    assert append_only_module.missing(connection) == []
    assert append_only_module.altered(connection) == [name]


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
    month.run(30)
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
