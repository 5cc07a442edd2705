"""An insole longer than drawn: its edge is traced and kept, and the imprint lies on it from the heel."""

import numpy as np
import pytest

from clinic.models import Imprint, InsoleOutline
from tests.journeys.insole_photos import scaled_and_traced
from tests.journeys.touch import tap
from tests.offload.core.insole_scenes import scene


@pytest.fixture
def shot():
    """A photograph of the family with an upright card, of an insole 6 % longer than drawn for its foot."""
    return scene(31, ratio=1.06, upright=True)


def test_a_longer_insole_is_outlined_looked_at_and_the_imprint_lies_from_its_heel(tablet, lesion, shot):
    nurse = lesion.limb.person.site.members.get(username="nurse")
    lesion.limb.foot_length_mm = round(shot.drawn.foot_length, 1)
    lesion.limb.side = shot.side
    lesion.limb.save()
    scale = scaled_and_traced(nurse, lesion, shot)
    tablet.sign_in(nurse)
    page = tablet.page
    tablet.open(f"/scales/{scale.pk}/imprint/")
    tap(tablet, "button.main")
    page.wait_for_selector(".errors")
    assert "keep this insole's own outline first" in page.inner_text("main")
    assert not Imprint.objects.exists()
    page.get_by_role("link", name="Look at this insole's own outline").tap()
    page.wait_for_url("**/insole/")
    assert not tablet.axe_faults()
    tap(tablet, "button.main")
    page.wait_for_url("**/imprint/")
    own = InsoleOutline.objects.get()
    assert own.length_mm == pytest.approx(np.ptp(shot.edge[:, 1]), abs=1.0)
    tap(tablet, "button.main")
    page.wait_for_selector(".insole-over")
    assert not Imprint.objects.exists()
    tap(tablet, "button.main")
    page.wait_for_url("**/lesions/*/")
    assert np.mean(Imprint.objects.get().outline_mm, axis=0) == pytest.approx(shot.centre, abs=1.5)
    tablet.open(f"/limbs/{lesion.limb_id}/insole/")
    assert not tablet.axe_faults()
    assert "own outline" in page.inner_text("main")
