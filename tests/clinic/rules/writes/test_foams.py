"""A site's own foams: fitted from measured points, used in its insole and its plans, worn layers thinner."""

from __future__ import annotations

import pytest
from django.utils import timezone

from clinic.models import AuditEvent, SiteFoam
from clinic.record.errors import Refused
from clinic.relief.reads.relief_record import CutChoice, limb_record, relief_spec
from clinic.relief.writes import relief
from clinic.rules.reads.foams import foam_choices, foams_known, own_foams
from clinic.rules.reads.house_rules import seen_number
from clinic.rules.writes.foams import foam_add, foam_retire
from clinic.rules.writes.house_rules import house_rules_change
from offload.plans.estimates import LIVE
from tests.clinic.relief.writes.test_relief import draft, lesion, limb, shape, sign

__all__ = ["lesion", "limb"]

#: E = 300 kPa, locking strain 0.8: stress = 300 e / (1 - e / 0.8).
LAW = {10: 34.286, 25: 109.091, 40: 240.0, 50: 400.0}


def add(by, site, label="Sheet of ours", stress=None, **changes):
    told = {
        "hardness": "30 Shore A",
        "stress_kpa": stress or LAW,
        "source": "own press, 3 samples",
        "measured_on": timezone.localdate(),
        **changes,
    }
    return foam_add(by=by, site=site, label=label, **told)


def test_points_of_a_law_give_the_law_back_and_one_audit_row(manager, site):
    foam = add(manager, site).foam
    assert foam.modulus_kpa == pytest.approx(300, rel=1e-3)
    assert foam.locking_strain == pytest.approx(0.8, rel=1e-3)
    assert foam.misfit_kpa < 0.1
    event = AuditEvent.objects.get()
    assert (event.verb, event.target_kind) == ("added", "sitefoam")


def test_points_off_any_law_show_their_misfit(manager, site):
    foam = add(manager, site, stress={10: 45.0, 25: 100.0, 40: 240.0, 50: 400.0}).foam
    assert foam.misfit_kpa > 2
    assert foam.worst_kpa >= foam.misfit_kpa


@pytest.mark.parametrize("stress", [{25: 100.0, 50: 90.0}, {25: 100.0}])
def test_points_no_foam_has_are_refused_and_nothing_is_kept(manager, site, stress):
    with pytest.raises(Refused, match="Measured points"):
        add(manager, site, stress=stress)
    assert not SiteFoam.objects.exists()
    assert not AuditEvent.objects.exists()


def test_a_name_is_in_use_once_and_another_sites_foam_is_not_offered(manager, site, other_site):
    add(manager, site)
    with pytest.raises(Refused, match="in use here already"):
        add(manager, site, label="sheet of OURS")
    assert "Sheet of ours" in dict(foam_choices(site, own_foams(site))).values()
    assert "Sheet of ours" not in dict(foam_choices(other_site, own_foams(other_site))).values()


def test_an_own_foam_stands_in_the_insole_and_changes_the_estimate(manager, podiatrist, site, limb, lesion):
    plain = draft(podiatrist, limb, lesion).plan.result["pressure"]["lesions"][0]["peak_after_kpa"]
    foam = add(manager, site).foam
    stack = [{**layer, "foam": foam.key} if layer["role"] == "base" else layer for layer in site.stack]
    house_rules_change(by=manager, site=site, seen=seen_number(site), stack=stack)
    limb.person.site.refresh_from_db()
    assert set(foams_known(own_foams(site))) == {foam.key}
    made = draft(podiatrist, limb, lesion).plan
    assert made.result["foams"][foam.key]["modulus_kpa"] == foam.modulus_kpa
    assert made.result["pressure"]["lesions"][0]["peak_after_kpa"] != pytest.approx(plain, rel=0.02)
    with pytest.raises(Refused, match="stands in this clinic's insole"):
        foam_retire(by=manager, link=SiteFoam.objects.get())


def test_a_retired_foam_is_no_longer_offered(manager, site):
    link = add(manager, site)
    foam_retire(by=manager, link=link)
    assert link.foam.key not in dict(foam_choices(site, own_foams(site)))
    with pytest.raises(Refused, match="already"):
        foam_retire(by=manager, link=link)


def test_a_foreign_foam_does_not_enter_the_insole(manager, site, other_site):
    foam = add(manager, other_site).foam
    stack = [{**layer, "foam": foam.key} for layer in site.stack]
    with pytest.raises(Refused, match="is not one of"):
        house_rules_change(by=manager, site=site, seen=seen_number(site), stack=stack)


def test_wear_thins_the_layers_and_stands_in_the_reasons(podiatrist, limb, lesion):
    record = limb_record(limb)
    worn = CutChoice(5.0, 10.0, 45.0, lost_cover_mm=1.0, lost_base_mm=2.5)
    spec = relief_spec(record, [shape(lesion)], worn)
    assert [layer.thickness for layer in spec.stack] == [2.0, 6, 3.5]
    estimate, _ = relief.relief_preview(record=record, shapes=[shape(lesion)], choice=worn, effort=LIVE)
    assert "The cover has lost 1 of its 3 mm with wear." in estimate.plan.reasons
    with pytest.raises(Refused) as refused:
        relief_spec(record, [shape(lesion)], CutChoice(5.0, 10.0, 45.0, lost_cover_mm=2.9))
    assert refused.value.field == "lost_cover_mm"


def test_a_draft_in_a_foam_given_up_since_is_not_signed(podiatrist, limb, lesion, site):
    link, before = add(podiatrist, site), site.stack
    site.stack = [{**layer, "foam": link.foam.key} for layer in before]
    site.save()
    limb.person.site.refresh_from_db()
    made = draft(podiatrist, limb, lesion)
    site.stack = before
    site.save()
    foam_retire(by=podiatrist, link=link)
    with pytest.raises(Refused, match="The foam Sheet of ours is no longer in use here"):
        sign(podiatrist, made)
