"""The audit row: what the column takes and no more, whatever the database."""

import pytest
from django.db import transaction

from clinic.record.writes import audit


def test_a_verb_longer_than_its_column_is_refused_on_every_database(site, staff):
    with pytest.raises(ValueError, match="at most 40"), transaction.atomic():
        audit.record(by=staff, site=site, verb="v" * 41, target=site)
