import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic.models import RedFlag, Weight
from clinic.record.errors import Refused
from clinic.record.writes.rows import store
from clinic.relief.reads.relief_record import LesionShape
from clinic.relief.writes import relief
from offload.core.shapes.lesion import Ellipse
from tests import factories

pytestmark = pytest.mark.django_db


def weight(person, **told):
    return Weight(person=person, measured_on=timezone.localdate(), **{"kg": 80, "how": "scales", **told})


def test_what_the_database_does_not_take_is_said_in_the_words_of_its_constraint(person, staff):
    with pytest.raises(Refused, match="kg must be between 20 and 300"):
        store(weight(person, kg=500), by=staff)


def test_a_refused_row_leaves_the_transaction_whole(person, staff):
    with transaction.atomic():
        with pytest.raises(Refused):
            store(weight(person, kg=500), by=staff)
        kept = store(weight(person), by=staff)
    assert list(person.weights.all()) == [kept]
    assert kept.history.count() == 1


def test_a_value_off_the_list_is_refused_at_its_field(person, staff):
    with pytest.raises(Refused) as refused:
        store(weight(person, how="guessed"), by=staff)
    assert refused.value.field == "how"


def test_a_corrected_row_is_held_against_the_constraints_as_well(person, staff):
    kept = store(weight(person), by=staff)
    kept.kg = 500
    with pytest.raises(Refused, match="between 20 and 300"):
        store(kept, by=staff)
    kept.refresh_from_db()
    assert (kept.kg, kept.version, kept.history.count()) == (80, 1, 1)


def test_what_no_rule_of_the_row_explains_is_raised_as_it_is(person, staff, monkeypatch):
    def broken(*args, **kwargs):
        raise IntegrityError("a trigger")

    monkeypatch.setattr(Weight, "save", broken)
    with pytest.raises(IntegrityError, match="a trigger"):
        store(weight(person), by=staff)


def test_a_row_that_points_at_nothing_is_refused(person, staff):
    flag = RedFlag(person=person, visit_id=10**6, flags=["gangrene"], raised_at=timezone.now())
    with pytest.raises(Refused, match="is not a valid choice"):
        store(flag, by=staff)


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
