"""What belongs to a person: one list, and nothing of it left anywhere once everybody was erased."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django.apps import apps
from django.db import connection, models
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.writes import digests
from clinic.accounts.writes.erasure import person_erase, person_export
from clinic.models import (
    Person,
    User,
)
from clinic.record.reads.person_rows import NOT_OF_A_PERSON, unplaced
from offload.models import PlanMeasurement, PlanStep, ReliefPlan
from tests.security import played
from tests.security.test_rights import _folders, whole_database  # noqa: F401  a fixture
from tests.test_access import ROUTES, signed_in


def test_every_table_is_said_to_be_of_a_person_or_not():
    """Erasure and copy reach what `clinic/record/reads/person_rows.py` lists; a new table stands there."""
    ours = [model for app in ("clinic", "offload") for model in apps.get_app_config(app).get_models()]
    assert unplaced(ours) == []
    gone = {model._meta.label_lower for model in ours}
    assert set(NOT_OF_A_PERSON) <= gone

    class Invented(models.Model):
        class Meta:
            app_label = "invented"

        def __str__(self):
            return "invented"

    assert "SITE_PATH leads through the person" in unplaced([Invented])[0]


@pytest.mark.django_db
def test_copy_and_erasure_reach_plans_steps_and_measurements():
    site = played.play_clinic(1)
    person, manager = Person.objects.get(site=site), User.objects.get(role="manager", sites=site)
    plans = {model: list(model.objects.values_list("pk", flat=True)) for model in (ReliefPlan, PlanStep)}
    assert plans[PlanStep]
    plan = ReliefPlan.objects.first()
    PlanMeasurement.objects.create(
        plan=plan,
        label="A",
        measured_on=timezone.localdate(),
        without_kpa=300,
        with_kpa=100,
        predicted_before_kpa=310,
        predicted_after_kpa=90,
        recorded_at=timezone.now(),
        made_by="Pim",
    )
    copy = json.loads(person_export(by=manager, person=person))["relief_plans"]
    assert [row["id"] for row in copy["planstep"]] == plans[PlanStep]
    assert sorted(row["id"] for row in copy["reliefplan"]) == sorted(plans[ReliefPlan])
    assert len(copy["planmeasurement"]) == PlanMeasurement.objects.count() > 0
    person_erase(
        by=manager, person=person, typed_number=person.record_number, ground="Request, Art. 17, 7 May"
    )
    for model in (ReliefPlan, PlanStep, PlanMeasurement):
        assert not model.objects.exists(), model


def words_of_everybody():
    """Names, record numbers and plan codes. Four letters stand by chance in a megabyte of keys and sealed
    payloads; six do not.
    """
    words = {plan.code for plan in ReliefPlan.objects.all()}
    for person in Person.objects.all():
        words |= {person.given_name, person.family_name, person.record_number}
    for older in Person.history.all():
        words |= {older.given_name, older.family_name, older.record_number}
    return {word for word in words if len(word) > 5}


def everything_told(manager, words):
    """Every page and export of a manager that names no one record, each that holds one of the words."""
    client, opened, found = signed_in(manager), 0, {}
    for name, (route, _) in ROUTES.items():
        if "<" in route:
            continue
        answer = client.get(reverse(name), {"figure": "all", "q": ""})
        body = b"".join(answer.streaming_content) if answer.streaming else answer.content
        opened += answer.status_code == 200
        if held := [word for word in words if word.encode() in body]:
            found[name] = held
    assert opened > 20
    return found


def nothing_is_left_of(site, media):
    """Erase everybody who is registered, then look into every table, file, export and page."""
    manager = User.objects.get(role="manager", sites=site)
    words = words_of_everybody()
    files = [path for path in media.rglob("*") if path.is_file()]
    assert len(words) > 5
    assert files
    assert everything_told(manager, words)
    for person in Person.objects.filter(merged_into=None):
        person_erase(
            by=manager, person=person, typed_number=person.record_number, ground="Art. 17, 7 May 2026"
        )
    assert not [path for path in media.rglob("*") if path.is_file()]
    text = whole_database()
    assert not [word for word in words if word in text]
    assert not [word for word in words if word in digests.path().read_text()]
    assert everything_told(manager, words) == {}
    if connection.vendor == "sqlite":
        name = connection.settings_dict["NAME"]
        held = b"".join(
            Path(f"{name}{end}").read_bytes() for end in ("", "-wal") if Path(f"{name}{end}").exists()
        )
        assert len(held) > 100_000
        assert not [word for word in words if word.encode() in held]
    return len(words)


@pytest.mark.django_db(transaction=True)
def test_when_everybody_was_erased_no_file_holds_a_name_a_number_or_a_plan(settings, tmp_path):
    """The database's own file too: what is deleted is overwritten, and the log beside it is emptied."""
    settings.MEDIA_ROOT = tmp_path / "media"
    nothing_is_left_of(played.play_clinic(3), tmp_path / "media")
