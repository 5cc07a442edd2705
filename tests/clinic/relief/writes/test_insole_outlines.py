"""The outline of the real insole: kept for one device, used by imprint, plan and template, withdrawn."""

from __future__ import annotations

import uuid
from datetime import timedelta

import numpy as np
import pytest
from django.utils import timezone

from clinic.capture.writes.traces import trace_store
from clinic.models import AuditEvent, InsoleOutline, PlanFlag
from clinic.people.reads.limbs import drawn_insole, insole_of_limb, outline_of_limb
from clinic.record.errors import Refused
from clinic.relief.reads.relief_record import CutChoice, LesionShape, limb_record, relief_spec, remarks
from clinic.relief.reads.rules_now import outdated
from clinic.relief.writes import relief
from clinic.relief.writes.imprints import imprint_by_trace, looked_at
from clinic.relief.writes.insole_outlines import outline_from_points, outline_from_trace, outline_withdraw
from offload.core.shapes.lesion import Ellipse
from tests import factories
from tests.clinic.fields.scenes import traced

pytestmark = pytest.mark.django_db
PLACE = Ellipse((0.0, 190.0), 14.0, 10.0)
PRINT = [(-12.0, 190.0), (0.0, 190.0), (0.0, 202.0), (-12.0, 202.0)]
HERE, THERE = "walker_knee_high_removable", "ankle_high_removable"


@pytest.fixture
def limb(person):
    factories.weight(of=person, kg=82)
    return factories.limb(of=person, side="right")


@pytest.fixture
def lesion(limb):
    return factories.lesion(on=limb)


def ring(limb, longer=0.0):
    drawn = drawn_insole(limb).outline
    share = 1.0 + longer / drawn.bounds[3]
    return [(x, y * share) for x, y in drawn.exterior]


def seen(points):
    """As they lie on a photo with one pixel to the millimetre, a right insole foot side up."""
    return [[x + 60.0, 300.0 - y] for x, y in points]


def photographed(lesion, by, longer):
    """A photo of an insole so much longer than drawn, its print and its edge traced."""
    print_trace = traced(lesion)
    scale = print_trace.scale
    scale.photo.subject = "insole"
    scale.photo.save()
    print_trace = trace_store(by=by, scale=scale, outline=seen(PRINT), submission_key=uuid.uuid4())
    edge = trace_store(
        by=by, scale=scale, outline=seen(ring(lesion.limb, longer)), submission_key=uuid.uuid4()
    )
    return print_trace, edge


def by_edge(lesion, print_trace, edge):
    return {
        "lesion": lesion,
        "trace": print_trace,
        "placed_by": "outline",
        "marks": {},
        "insole_trace": edge,
    }


@pytest.mark.parametrize("longer", [-18.0, 15.0])
def test_another_length_asks_for_the_outline_and_then_the_print_lies_from_the_heel(
    podiatrist, lesion, longer
):
    print_trace, edge = photographed(lesion, podiatrist, longer)
    told = by_edge(lesion, print_trace, edge)
    with pytest.raises(Refused, match=r"(longer|shorter); the limit is 5 mm: keep this insole's own outline"):
        looked_at(**told)
    row = outline_from_trace(by=podiatrist, limb=lesion.limb, trace=edge)
    assert row.length_mm == pytest.approx(drawn_insole(lesion.limb).outline.bounds[3] + longer, abs=0.5)
    assert "limit 3 mm" in looked_at(**told).words
    imprint = imprint_by_trace(by=podiatrist, dressing_mm=None, **told)
    assert np.abs(np.array(imprint.outline_mm) - PRINT).max() < 1.0


def test_the_look_before_keeping_shows_the_insole_over_the_photo_with_its_misfit(podiatrist, lesion):
    print_trace, edge = photographed(lesion, podiatrist, 3.0)
    look = looked_at(**by_edge(lesion, print_trace, edge))
    assert "3.0 mm longer than the insole drawn from the foot's length (limit 5 mm)" in look.words
    drawn = [tuple(map(float, at.split())) for at in look.insole_path.strip("MZ ").split(" L")]
    assert np.abs(np.array(drawn) - seen(ring(lesion.limb))).max() < 1.0
    assert (
        look.token != looked_at(**by_edge(lesion, print_trace, photographed(lesion, podiatrist, 0)[1])).token
    )


def test_an_outline_serves_its_own_device_alone(podiatrist, lesion, limb):
    assert outline_of_limb(limb) is None
    bare = outline_from_points(by=podiatrist, limb=limb, taken_on=timezone.localdate(), points=ring(limb, 8))
    assert outline_of_limb(limb) == bare
    first = factories.prescription(of=limb, lesions=[lesion], device_class=HERE)
    assert outline_of_limb(limb) is None, "an insole outlined without a device is not that of the device"
    own = outline_from_points(by=podiatrist, limb=limb, taken_on=timezone.localdate(), points=ring(limb, 12))
    assert (own.prescription, outline_of_limb(limb)) == (first, own)
    first.stopped_on = timezone.localdate()
    first.stop_reason = "healed"
    first.save()
    factories.prescription(of=limb, lesions=[lesion], device_class=THERE)
    assert outline_of_limb(limb) is None
    assert not insole_of_limb(limb).traced


def test_an_outline_ends_when_its_insole_is_replaced_within_the_device(podiatrist, lesion, limb):
    today = timezone.localdate()
    factories.prescription(of=limb, lesions=[lesion], device_class=HERE)
    old = outline_from_points(
        by=podiatrist, limb=limb, taken_on=today - timedelta(days=9), points=ring(limb, 8)
    )
    assert outline_of_limb(limb) == old
    factories.event(of=lesion, kind="insole_replaced", on=today - timedelta(days=2))
    assert outline_of_limb(limb) is None
    assert not insole_of_limb(limb).traced
    new = outline_from_points(by=podiatrist, limb=limb, taken_on=today, points=ring(limb, 12))
    assert outline_of_limb(limb) == new


def test_plan_and_template_lie_on_the_outline_and_a_draft_of_another_is_not_signed(podiatrist, lesion, limb):
    shapes, choice = [LesionShape(lesion, "traced", PLACE)], CutChoice(5.0, 10.0, 45.0)
    before = relief.plan_draft(by=podiatrist, limb=limb, shapes=shapes, choice=choice)
    assert outdated(limb_record(limb), before) == []
    row = outline_from_points(by=podiatrist, limb=limb, taken_on=timezone.localdate(), points=ring(limb, 14))
    record = limb_record(limb)
    assert any("outline of this insole is another now" in one for one in outdated(record, before))
    spec = relief_spec(record, shapes, choice)
    assert spec.insole_outline.bounds[3] == pytest.approx(row.length_mm, abs=0.1)
    assert any("own outline" in one for one in remarks(record, shapes, choice).reasons)
    after = relief.plan_draft(by=podiatrist, limb=limb, shapes=shapes, choice=choice)
    assert after.plan.spec["insole_outline_mm"] == row.outline_mm
    assert outdated(limb_record(limb), after) == []
    assert not any("estimated from foot length" in one for one in after.plan.result["reasons"])


def test_a_signed_plan_is_flagged_when_an_outline_is_kept_or_withdrawn(podiatrist, lesion, limb):
    signed = relief.plan_draft(
        by=podiatrist,
        limb=limb,
        shapes=[LesionShape(lesion, "traced", PLACE)],
        choice=CutChoice(5.0, 10.0, 45.0),
    )
    relief.plan_sign(
        by=podiatrist,
        limb_plan=signed,
        expected_version=signed.plan.version,
        shut_reason="Measured next in the shoe.",
    )
    row = outline_from_points(by=podiatrist, limb=limb, taken_on=timezone.localdate(), points=ring(limb, 14))
    assert [flag.limb_plan_id for flag in PlanFlag.objects.filter(cause="insole")] == [signed.pk]
    outline_withdraw(by=podiatrist, outline=row, reason="the other foot's")
    assert outline_of_limb(limb) is None
    assert InsoleOutline.objects.count() == 1
    verbs = AuditEvent.objects.filter(target_kind="insoleoutline").values_list("verb", flat=True)
    assert sorted(verbs) == ["added", "withdrew"]


def test_the_same_outline_sent_twice_is_kept_once(podiatrist, limb):
    told = {"by": podiatrist, "limb": limb, "taken_on": timezone.localdate(), "points": ring(limb, 6)}
    assert outline_from_points(**told) == outline_from_points(**told)
    assert InsoleOutline.objects.count() == 1


def test_what_is_no_outline_of_this_foot_is_refused_with_the_limit(podiatrist, limb, lesion):
    day = timezone.localdate()
    for points, words in (
        ([(x, y + 9) for x, y in ring(limb)], "begins 9.0 mm from the heel line; the limit is 3 mm"),
        (ring(limb, 120), "1.44 of the drawn insole's length"),
        ([(x + 60, y) for x, y in ring(limb)], "both sides of the long axis"),
        ([(0, 0), (50, 100), (50, 0), (0, 100)] * 3, "cross"),
    ):
        with pytest.raises(Refused, match=words) as told:
            outline_from_points(by=podiatrist, limb=limb, taken_on=day, points=points)
        assert told.value.field == "points"
    with pytest.raises(Refused, match="the limit is today"):
        outline_from_points(by=podiatrist, limb=limb, taken_on=day + timedelta(days=1), points=ring(limb))
    with pytest.raises(Refused, match="traced on a photo of the insole"):
        outline_from_trace(by=podiatrist, limb=limb, trace=traced(lesion))
    limb.foot_length_mm = None
    limb.save()
    with pytest.raises(Refused, match="Foot length"):
        outline_from_points(by=podiatrist, limb=limb, taken_on=day, points=[(0, 0), (1, 0), (1, 1)])
    assert not InsoleOutline.objects.exists()
