"""A new lesion of a limb with history starts from the plan that healed the old one, as a draft."""

import re
from datetime import timedelta

from django.utils import timezone

from clinic.models import LimbPlan
from offload.models import PlanState
from tests import factories
from tests.clinic.relief.views.test_relief import bench_url, lesion, limb, save, sign

__all__ = ["lesion", "limb"]


def test_the_plan_that_healed_it_before_is_the_start_of_a_draft_for_the_new_lesion(
    as_podiatrist, limb, lesion
):
    old = save(as_podiatrist, limb, lesion, margin_mm="7", bevel_deg="40")
    assert sign(as_podiatrist, old, departure_reason="Her skin is thin.").status_code == 302
    today = timezone.localdate()
    lesion.first_seen_on = lesion.onset_on = today - timedelta(days=300)
    lesion.state, lesion.outcome = "healed", "healed"
    lesion.closed_on, lesion.confirmed_on = today - timedelta(days=200), today - timedelta(days=180)
    lesion.save()
    new = factories.lesion(
        on=limb,
        label="B",
        place=lesion.place,
        recurs_of=lesion,
        first_seen_on=today - timedelta(days=2),
        onset_on=today - timedelta(days=4),
    )
    page = as_podiatrist.get(f"/lesions/{new.pk}/").content.decode()
    link = re.search(r'href="([^"]+\?from=\w+)"[^>]*>start from it as a draft', page)[1]
    bench = as_podiatrist.get(link).content.decode()
    assert re.search(r'name="margin_mm" value="7"', bench)
    assert re.search(r'name="bevel_deg" value="40"', bench)
    # The wall and the layers come from the old plan; where the new lesion lies and how large it is does not.
    assert f'name="l{new.pk}-x_mm"' in bench
    assert f'name="l{lesion.pk}-x_mm"' not in bench
    made = save(as_podiatrist, limb, new, margin_mm="7", bevel_deg="40")
    assert made.plan.state == PlanState.DRAFT
    assert list(made.lesions.all()) == [new]
    assert made.plan.spec["margin_mm"] == 7
    assert LimbPlan.objects.get(pk=old.pk).plan.state == PlanState.SIGNED
    assert bench_url(limb) in link
