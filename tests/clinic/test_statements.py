"""Statements put together once: the values of each call, read and written as the ORM does, and the text of the models."""

import uuid
from datetime import date
from decimal import Decimal

import pytest
from django.apps import apps
from django.db import connection, models, transaction
from django.db.models import BigIntegerField, DateField, UUIDField, Value
from django.test.utils import CaptureQueriesContext

from clinic.models import ClinicalRecord, Person, Visit, Weight
from clinic.services import relief
from clinic.services.relief_record import LesionShape
from clinic.statements import Asked, Statement, insertion
from offload.core.spec import Ellipse
from tests import factories

PERSON = Asked("person", BigIntegerField())


@Statement
def visits_of():
    return (
        Visit.objects.filter(person=PERSON, visited_on__gte=Asked("day", DateField()), state="stands")
        .order_by("visited_on")
        .values_list("submission_key", "visited_on", "fall", "created_at")
    )


@Statement
def by_key():
    return Visit.objects.filter(submission_key=Asked("key", UUIDField())).order_by().values_list("person_id")


@Statement
def held():
    return Person.objects.select_for_update().filter(pk=PERSON).order_by()


def test_each_call_has_its_own_values_and_reads_what_the_orm_reads(person, site):
    other = factories.person(at=site)
    for of, day in ((person, 1), (person, 2), (person, 3), (other, 2)):
        factories.visit(of=of, on=date(2026, 3, day))
    for of, since in ((person, date(2026, 3, 2)), (other, date(2026, 3, 1)), (other, date(2026, 3, 3))):
        asked = Visit.objects.filter(person=of, visited_on__gte=since).order_by("visited_on")
        assert visits_of.rows(person=of.pk, day=since) == list(
            asked.values_list("submission_key", "visited_on", "fall", "created_at")
        )


def test_a_value_is_no_part_of_the_text(person):
    visit = factories.visit(of=person, on=date(2026, 3, 1))
    assert by_key.first(key=visit.submission_key) == (person.pk,)
    assert by_key.first(key=uuid.uuid4()) is None
    with pytest.raises(Exception, match="valid UUID"):
        by_key.first(key="x' OR '1'='1")


def test_nothing_equals_none(person):
    factories.visit(of=person, on=date(2026, 3, 1))
    assert visits_of.rows(person=None, day=date(2026, 1, 1)) == []


def test_a_whole_row_is_the_instance_the_orm_makes(person):
    with transaction.atomic():
        row = held.instance(person=person.pk)
    same = Person.objects.get(pk=person.pk)
    assert row == same
    assert not row._state.adding
    assert {f.attname: getattr(row, f.attname) for f in Person._meta.concrete_fields} == {
        f.attname: getattr(same, f.attname) for f in Person._meta.concrete_fields
    }
    with pytest.raises(Person.DoesNotExist), transaction.atomic():
        held.instance(person=0)


@pytest.mark.django_db(transaction=True)
def test_a_row_is_held_inside_a_transaction_only(db):
    with pytest.raises(transaction.TransactionManagementError):
        held.instance(person=1)


def test_it_holds_the_row_where_the_database_can(person):
    with transaction.atomic(), CaptureQueriesContext(connection) as watched:
        held.instance(person=person.pk)
    assert watched[0]["sql"].endswith("FOR UPDATE") == connection.features.has_select_for_update


def weight(person, by, **fields):
    return Weight(
        person=person, created_by=by, measured_on=date(2026, 3, 1), kg=Decimal("80.5"), how="scales", **fields
    )


def sql_of(write):
    with CaptureQueriesContext(connection) as watched:
        write()
    return [q["sql"] for q in watched.captured_queries]


def test_a_new_row_is_written_by_the_same_statement_as_the_orms_own(person, staff, monkeypatch):
    quick, plain = weight(person, staff), weight(person, staff)
    ours = sql_of(quick.save)
    monkeypatch.setattr(ClinicalRecord, "_do_insert", models.Model._do_insert)
    theirs = sql_of(plain.save)
    assert quick.pk
    assert plain.pk > quick.pk
    assert len(ours) == len(theirs) == 2
    assert [sql.split(" VALUES ")[0] for sql in ours] == [sql.split(" VALUES ")[0] for sql in theirs]
    assert [sql.partition(" RETURNING ")[2] for sql in ours] == [
        sql.partition(" RETURNING ")[2] for sql in theirs
    ]


def test_a_new_row_says_what_was_put_on_it(person, staff):
    kept = weight(person, staff)
    kept.save()
    stored = Weight.objects.get(pk=kept.pk)
    assert {f.attname: getattr(stored, f.attname) for f in Weight._meta.concrete_fields} == {
        f.attname: getattr(kept, f.attname) for f in Weight._meta.concrete_fields
    }


def test_a_number_of_its_own_and_an_expression_go_the_long_way(person, staff):
    weight(person, staff, pk=4711).save()
    assert Weight.objects.get(pk=4711).kg == Decimal("80.5")
    reckoned = weight(person, staff)
    reckoned.how = Value("told")
    reckoned.save()
    assert Weight.objects.get(pk=reckoned.pk).how == "told"


def test_a_copy_says_every_column_of_its_row(person, staff):
    kept = weight(person, staff)
    kept._history_user, kept._change_reason = staff, "weighed again"
    kept.save()
    kept.kg = Decimal("81.0")
    kept.save()
    newest, first = kept.history.all()
    for copy, kg, kind in ((first, Decimal("80.5"), "+"), (newest, Decimal("81.0"), "~")):
        assert (copy.kg, copy.history_type, copy.history_user, copy.history_change_reason) == (
            kg,
            kind,
            staff,
            "weighed again",
        )
        assert (copy.id, copy.person_id, copy.created_at, copy.created_by_id) == (
            kept.pk,
            person.pk,
            kept.created_at,
            staff.pk,
        )


def test_every_clinical_noun_and_its_copy_have_their_insert():
    nouns = [
        model for model in apps.get_app_config("clinic").get_models() if issubclass(model, ClinicalRecord)
    ]
    assert nouns
    for model in nouns:
        for table in (model, model.history.model):
            text, _ = insertion(table)._compiled
            assert text.count("%s") == len(table._meta.local_concrete_fields) - 1
            assert f'"{table._meta.db_table}"' in text


def test_a_copy_keeps_which_rows_were_linked(podiatrist, person):
    """What a plan or a device serves is part of its history, not only its own columns."""
    factories.weight(of=person, kg=82)
    limb = factories.limb(of=person)
    first, second = factories.lesion(on=limb), factories.lesion(on=limb, label="B", place="heel_central")
    place = Ellipse((0.0, 180.0), 14.0, 10.0)
    made = relief.plan_draft(by=podiatrist, limb=limb, shapes=[LesionShape(first, "traced", place)])
    made.lesions.add(second)
    newest, before, *_ = made.history.order_by("-history_id")
    assert {link.lesion_id for link in newest.lesions.all()} == {first.pk, second.pk}
    assert {link.lesion_id for link in before.lesions.all()} == {first.pk}
