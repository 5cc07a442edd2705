"""An imprint is kept of an open ulcer of somebody in care, and of nothing else."""

import pytest
from django.utils import timezone

from clinic.models import Imprint, Person
from clinic.record.errors import Refused
from clinic.relief.writes.imprints import imprint_typed
from tests import factories

TODAY = timezone.localdate


def take(by, lesion):
    return imprint_typed(
        by=by,
        lesion=lesion,
        taken_on=TODAY(),
        centre=(0.0, 180.0),
        length_mm=14.0,
        width_mm=10.0,
        side_confirmed=True,
    )


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def test_of_an_open_ulcer_it_is_kept(staff, lesion):
    assert take(staff, lesion).lesion == lesion


@pytest.mark.parametrize(
    ("state", "ends"),
    [
        ("healed", ("closed_on", "confirmed_on")),
        ("ended", ("ended_on",)),
    ],
)
def test_of_an_ulcer_that_is_not_open_none_is_kept(staff, lesion, state, ends):
    outcome = {"healed": "healed", "ended": "minor_amputation"}.get(state, "")
    for name in ends:
        setattr(lesion, name, TODAY())
    lesion.state, lesion.outcome = state, outcome
    lesion.save()
    with pytest.raises(Refused, match="an imprint is taken of an open one"):
        take(staff, lesion)
    assert not Imprint.objects.exists()


@pytest.mark.parametrize("state", ["moved", "died", "lost"])
def test_of_somebody_who_left_none_is_kept(staff, lesion, state):
    Person.objects.filter(pk=lesion.limb.person_id).update(state=state, state_on=TODAY())
    lesion.limb.person.refresh_from_db()
    with pytest.raises(Refused):
        take(staff, lesion)
    assert not Imprint.objects.exists()
