"""Wherever the guidance's advice is shown or printed, the page says which of its rows are an older text."""

import pytest

from clinic.guidelines.edition import current
from tests.clinic.devices.writes.conftest import limb  # noqa: F401
from tests.clinic.devices.writes.signing import sign

OLDER = "2019 text, from memory"


@pytest.mark.parametrize(
    "path", ["/prescriptions/{made}/", "/prescriptions/{made}/record/", "/audit/sheets/{made}/"]
)
def test_a_signed_decision_names_its_edition(as_manager, limb, podiatrist, path):  # noqa: F811
    made = sign(podiatrist, limb)
    page = as_manager.get(path.format(made=made.pk)).content.decode()
    assert current().edition in page
    assert OLDER in page


def test_the_prescribing_page_names_it(as_podiatrist, limb):  # noqa: F811
    assert OLDER in as_podiatrist.get(f"/limbs/{limb.pk}/prescribe/").content.decode()
