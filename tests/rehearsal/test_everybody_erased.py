"""Every person of the invented clinic is erased, and nothing of them is left in any table, file or export."""

from __future__ import annotations

import pytest

from clinic.models import Person
from tests.security import played
from tests.security.test_erased_for_good import nothing_is_left_of
from tests.security.test_rights import _folders as _folders


@pytest.mark.django_db(transaction=True)
def test_of_the_whole_invented_clinic_nothing_is_left_once_everybody_was_erased(settings, tmp_path, capsys):
    settings.MEDIA_ROOT = tmp_path / "media"
    site = played.play_clinic(10_000)
    people = Person.objects.count()
    words = nothing_is_left_of(site, tmp_path / "media")
    with capsys.disabled():
        print(f"\n{people} people erased, {words} words looked for, 0 found")
