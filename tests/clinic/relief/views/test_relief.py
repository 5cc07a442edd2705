"""The bench and the plan page: who may, what they show, what they refuse."""

from __future__ import annotations

import io
import re

import ezdxf
import pytest

from clinic.models import AuditEvent, Imprint, LimbPlan
from offload.models import PlanState, ReliefPlan
from offload.plans import keeping as writes
from tests import factories


@pytest.fixture
def limb(person):
    factories.weight(of=person, kg=82)
    made = factories.limb(of=person, side="right", foot_breadth_mm=98)
    factories.lesion(on=made, place="mth_2")
    return made


@pytest.fixture
def lesion(limb):
    return limb.lesions.get()


def numbers(lesion, **changes):
    key = f"l{lesion.pk}"
    first = {
        f"{key}-include": "on",
        f"{key}-x_mm": "0",
        f"{key}-y_mm": "180",
        f"{key}-length_mm": "20",
        f"{key}-width_mm": "20",
        f"{key}-angle_deg": "0",
        f"{key}-how": "traced",
        f"{key}-outline": "",
        "margin_mm": "5",
        "distal_margin_mm": "10",
        "bevel_deg": "45",
        "margin_face": "floor",
        "cut": "auto",
        "departure_reason": "",
    }
    return {**first, **{name.replace("LESION", key): value for name, value in changes.items()}}


def bench_url(limb):
    return f"/limbs/{limb.pk}/bench/"


def save(client, limb, lesion, **changes):
    answer = client.post(bench_url(limb), {**numbers(lesion, **changes), "action": "save"})
    assert answer.status_code == 302, answer.content.decode()
    return LimbPlan.objects.latest("pk")


def sign(client, made, **more):
    plan = ReliefPlan.objects.get(pk=made.plan_id)
    return client.post(
        f"/plans/{plan.code}/sign/",
        {"version": plan.version, "shut_reason": "Measured next in the shoe.", **more},
    )


# --- who may
# ---------------------------------------------------------------------------------------------------
def test_only_podiatrists_open_the_bench(as_staff, as_manager, as_podiatrist, limb):
    assert as_staff.get(bench_url(limb)).status_code == 403
    assert as_manager.post(bench_url(limb) + "preview/").status_code == 403
    assert as_podiatrist.get(bench_url(limb)).status_code == 200
    assert as_podiatrist.get(bench_url(limb) + "preview/").status_code == 405


def test_staff_open_the_plan_and_its_sheets_but_never_sign(as_podiatrist, as_staff, limb, lesion):
    made = save(as_podiatrist, limb, lesion)
    code = made.plan.code
    page = as_staff.get(f"/plans/{code}/")
    assert page.status_code == 200
    assert "Sign plan" not in page.content.decode()
    assert as_staff.get(f"/plans/{code}/sheet-a4.pdf").status_code == 200
    assert sign(as_staff, made).status_code == 403


def test_another_sites_limb_and_code_are_not_there(client, other_site, as_podiatrist, limb, lesion):
    made = save(as_podiatrist, limb, lesion)
    client.force_login(factories.user("podiatrist", at=other_site))
    code = made.plan.code
    assert client.get(bench_url(limb)).status_code == 404
    assert client.post(bench_url(limb) + "preview/", numbers(lesion)).status_code == 404
    for page in ("", "sheet-a4.pdf", "sheet.svg", "sheet.dxf", "sign/"):
        assert client.get(f"/plans/{code}/{page}").status_code == 404
    assert sign(client, made).status_code == 404


def test_a_plan_of_another_limb_is_no_source(as_podiatrist, limb, lesion, person):
    made = save(as_podiatrist, limb, lesion)
    other = factories.limb(of=person, side="left")
    factories.lesion(on=other)
    assert as_podiatrist.get(bench_url(other), {"from": made.plan.code}).status_code == 404


# --- the bench
# -------------------------------------------------------------------------------------------------
def test_the_bench_begins_at_the_site_name_and_says_so(as_podiatrist, limb):
    page = as_podiatrist.get(bench_url(limb)).content.decode()
    assert "placed from the name of the place: move it to the imprint" in page
    assert "Section through ulcer A" in page
    assert "Measured cut-outs in print relieve 32 to 51 %" in page
    assert "Calculated estimate that ranks plans" in page
    assert " style=" not in page


@pytest.mark.parametrize(("side", "sign_of_x"), [("right", 1), ("left", -1)])
def test_the_left_foot_is_drawn_mirrored_and_the_record_is_not(as_podiatrist, person, side, sign_of_x):
    factories.weight(of=person)
    foot = factories.limb(of=person, side=side)
    lesion = factories.lesion(on=foot, place="mth_5")
    page = as_podiatrist.post(
        bench_url(foot) + "preview/", numbers(lesion, **{"LESION-x_mm": "25"})
    ).content.decode()
    (left,) = re.findall(r'data-left="([-\d.]+)"', page)
    lesion_group = page.split('class="drawing-lesion"')[1].split("</g>")[0]
    points = re.search(r'points="([^"]+)"', lesion_group).group(1).split()
    across = [float(point.split(",")[0]) for point in points]
    middle = (min(across) + max(across)) / 2
    assert middle + float(left) == pytest.approx(sign_of_x * 25, abs=0.1)
    save(as_podiatrist, foot, lesion, **{"LESION-x_mm": "25"})
    assert ReliefPlan.objects.get().spec["lesions"][0]["centre_mm"] == [25.0, 180.0]


def test_the_preview_is_a_fragment_that_writes_nothing(as_podiatrist, limb, lesion):
    answer = as_podiatrist.post(bench_url(limb) + "preview/", numbers(lesion))
    text = answer.content.decode()
    assert answer.status_code == 200
    assert "<html" not in text
    for part in ('id="insole-drawing"', 'id="sections"', 'id="result"'):
        assert part in text
    # pi 15² + 5·30 and pi 21² + 5·42, in mm².
    assert ">857<" in text
    assert ">1595<" in text
    assert "Cut in: middle" in text
    assert answer["Cache-Control"] == "private, no-store"
    assert not ReliefPlan.objects.exists()
    assert not AuditEvent.objects.exists()


def test_flagged_checks_stand_first(as_podiatrist, limb, lesion):
    text = as_podiatrist.post(bench_url(limb) + "preview/", numbers(lesion)).content.decode()
    assert (
        text.index("was not looked at") < text.index("Checks not flagged") < text.index("Ulcer A is plantar")
    )


def test_faults_are_sentences_and_the_typed_numbers_stay(as_podiatrist, limb, lesion):
    wrong = numbers(lesion, **{"LESION-x_mm": "90", "bevel_deg": "45"})
    preview = as_podiatrist.post(bench_url(limb) + "preview/", wrong)
    assert preview.status_code == 422
    assert "off the insole; the limit is 0" in preview.content.decode()
    page = as_podiatrist.post(bench_url(limb), {**wrong, "action": "save"})
    assert page.status_code == 422
    assert 'value="90"' in page.content.decode()
    assert not ReliefPlan.objects.exists()


def test_broken_numbers_are_refused_field_by_field(as_podiatrist, limb, lesion):
    wrong = numbers(lesion, **{"LESION-length_mm": "x", "bevel_deg": "95", "cut": "cover"})
    page = as_podiatrist.post(bench_url(limb), {**wrong, "action": "save"})
    text = page.content.decode()
    assert page.status_code == 422
    assert "which is not one number; it must be between 1 and 200 mm." in text
    assert "Bevel was given as 95 degrees; it must be between 20 and 90 degrees." in text
    assert not ReliefPlan.objects.exists()


def test_compute_without_a_script_shows_the_plan_and_keeps_nothing(as_podiatrist, limb, lesion):
    page = as_podiatrist.post(bench_url(limb), {**numbers(lesion), "action": "compute"})
    assert page.status_code == 200
    assert ">1595<" in page.content.decode()
    assert not ReliefPlan.objects.exists()


def test_an_unticked_lesion_is_drawn_but_gets_no_opening(as_podiatrist, limb, lesion):
    other = factories.lesion(on=limb, place="heel_central")
    data = {**numbers(lesion), **numbers(other, **{"LESION-include": "", "LESION-y_mm": "36"})}
    data.pop(f"l{other.pk}-include")
    text = as_podiatrist.post(bench_url(limb) + "preview/", data).content.decode()
    assert 'class="drawing-other"' in text
    assert "Section through ulcer A" in text
    assert "Section through ulcer B" not in text


def test_without_a_weight_the_foot_is_drawn_and_nothing_is_computed(as_podiatrist, limb, lesion, person):
    person.weights.all().delete()
    page = as_podiatrist.get(bench_url(limb)).content.decode()
    assert "Weight missing" in page
    assert f"/people/{person.pk}/weights/new/" in page
    assert 'id="insole-drawing"' in page
    assert "Cut in:" not in page
    refused = as_podiatrist.post(bench_url(limb), {**numbers(lesion), "action": "save"})
    assert refused.status_code == 422
    assert not ReliefPlan.objects.exists()


def test_without_a_foot_length_the_page_says_where_to_record_it(as_podiatrist, limb):
    limb.foot_length_mm = None
    limb.save()
    page = as_podiatrist.get(bench_url(limb)).content.decode()
    assert "length of the right foot is not recorded" in page
    assert f"/limbs/{limb.pk}/edit/" in page


def test_a_cast_has_no_insole(as_podiatrist, limb):
    factories.prescription(of=limb, device_class="total_contact_cast")
    assert "A cast has no insole" in as_podiatrist.get(bench_url(limb)).content.decode()


def test_a_lesion_that_is_not_plantar_gets_other_advice(as_podiatrist, person):
    factories.weight(of=person)
    foot = factories.limb(of=person, side="left")
    factories.lesion(on=foot, place="heel_posterior")
    page = as_podiatrist.get(bench_url(foot)).content.decode()
    assert "bears on an insole" in page
    assert "float the heel" in page


# --- draft, sign, replace
# --------------------------------------------------------------------------------------
def test_a_draft_is_kept_and_its_page_forbids_cutting(as_podiatrist, limb, lesion):
    made = save(as_podiatrist, limb, lesion)
    page = as_podiatrist.get(f"/plans/{made.plan.code}/").content.decode()
    assert "NOT SIGNED – do not cut" in page
    assert made.plan.sha256 in page
    assert Imprint.objects.get().how == "traced"


def test_a_drawn_outline_is_kept_as_it_was_drawn(as_podiatrist, limb, lesion):
    made = save(as_podiatrist, limb, lesion, **{"LESION-outline": "[[-5,-8],[5,-8],[0,8]]"})
    ring = made.plan.spec["lesions"][0]["outline_mm"]
    assert sorted(ring) == [[-10.0, 170.0], [0.0, 190.0], [10.0, 170.0]]


def test_signing_takes_the_warning_off(as_podiatrist, limb, lesion):
    device = factories.prescription(of=limb, lesions=[lesion], facts={"region": "forefoot"})
    made = save(as_podiatrist, limb, lesion)
    assert sign(as_podiatrist, made).status_code == 302
    page = as_podiatrist.get(f"/plans/{made.plan.code}/").content.decode()
    assert "NOT SIGNED" not in page
    assert "Signed" in page
    assert f"/prescriptions/{device.pk}/" in page


def test_a_stale_version_is_refused(as_podiatrist, limb, lesion):
    made = save(as_podiatrist, limb, lesion)
    answer = as_podiatrist.post(f"/plans/{made.plan.code}/sign/", {"version": 7})
    assert answer.status_code == 422
    assert "Someone else changed this plan" in answer.content.decode()
    assert ReliefPlan.objects.get().state == PlanState.DRAFT


def test_a_check_that_stops_signing_stops_it(as_podiatrist, limb, lesion):
    made = save(as_podiatrist, limb, lesion)
    plan = made.plan
    plan.result["checks"][0].update(severity="error", passed=False, message="The cut layers fall apart.")
    plan.sha256 = writes._digest(plan.spec, plan.result, plan.core_version)
    plan.save()
    page = as_podiatrist.get(f"/plans/{plan.code}/").content.decode()
    assert "This plan cannot be signed" in page
    assert "/sign/" not in page
    assert sign(as_podiatrist, made).status_code == 422
    assert ReliefPlan.objects.get().state == PlanState.DRAFT


def test_a_departure_asks_for_its_reason_and_keeps_what_was_typed(as_podiatrist, limb, lesion):
    made = save(as_podiatrist, limb, lesion, cut="base")
    answer = sign(as_podiatrist, made, departure_reason="  ")
    assert answer.status_code == 422
    assert "write why before signing" in answer.content.decode()
    assert sign(as_podiatrist, made, departure_reason="Middle worn flat.").status_code == 302
    assert "Middle worn flat." in as_podiatrist.get(f"/plans/{made.plan.code}/").content.decode()


def test_a_new_version_is_copied_and_replaces_on_signing(as_podiatrist, limb, lesion):
    first = save(as_podiatrist, limb, lesion, **{"LESION-x_mm": "3.5"}, margin_mm="7")
    sign(as_podiatrist, first)
    page = as_podiatrist.get(bench_url(limb), {"from": first.plan.code}).content.decode()
    assert 'value="3.5"' in page
    assert re.search(r'name="margin_mm" value="7"', page)
    second = save(as_podiatrist, limb, lesion, **{"LESION-x_mm": "4"})
    assert second.plan.number == 2
    sign(as_podiatrist, second)
    assert "REPLACED" in as_podiatrist.get(f"/plans/{first.plan.code}/").content.decode()


def test_every_press_of_save_leaves_one_draft(as_podiatrist, limb, lesion):
    save(as_podiatrist, limb, lesion)
    save(as_podiatrist, limb, lesion)
    assert ReliefPlan.objects.count() == 1
    assert AuditEvent.objects.count() == 1


# --- sheets
# ----------------------------------------------------------------------------------------------------
def test_sheets_carry_the_code_and_no_person(as_podiatrist, limb, lesion, person):
    made = save(as_podiatrist, limb, lesion)
    code = made.plan.code
    for page, kind in (
        ("sheet-a4.pdf", "application/pdf"),
        ("sheet-a3.pdf", "application/pdf"),
        ("sheet-letter.pdf", "application/pdf"),
        ("sheet.svg", "image/svg+xml"),
        ("sheet.dxf", "image/vnd.dxf"),
    ):
        answer = as_podiatrist.get(f"/plans/{code}/{page}")
        assert answer["Content-Type"] == kind
        assert code in answer["Content-Disposition"]
        assert person.family_name not in answer["Content-Disposition"]
        assert person.family_name.encode() not in answer.content
        assert answer["Cache-Control"] == "private, no-store"
    assert as_podiatrist.get(f"/plans/{code}/sheet-a5.pdf").status_code == 404


def test_the_dxf_holds_the_opening_that_the_page_shows(as_podiatrist, limb, lesion):
    made = save(as_podiatrist, limb, lesion)
    answer = as_podiatrist.get(f"/plans/{made.plan.code}/sheet.dxf")
    document = ezdxf.read(io.StringIO(answer.content.decode()))
    (top,) = document.modelspace().query('LWPOLYLINE[layer=="CUT_MIDDLE_TOP"]')
    xs, ys = zip(*((x, y) for x, y, *_ in top.get_points()), strict=True)
    assert max(xs) - min(xs) == pytest.approx(42.0, abs=0.05)
    assert max(ys) - min(ys) == pytest.approx(47.0, abs=0.05)
    assert not document.audit().has_errors


def test_a_code_typed_small_finds_the_plan(as_podiatrist, limb, lesion):
    made = save(as_podiatrist, limb, lesion)
    assert as_podiatrist.get(f"/plans/{made.plan.code.lower()}/").status_code == 200


# --- what was kept is what is drawn
# ----------------------------------------------------------------------------
@pytest.mark.full_pressure
def test_a_plan_kept_under_another_threshold_shows_its_pictures(as_podiatrist, site, person):
    site.weight_threshold_kg = 110
    site.save()
    factories.weight(of=person, kg=95)
    limb = factories.limb(of=person, side="right")
    made = save(as_podiatrist, limb, factories.lesion(on=limb, place="mth_2"))
    assert made.plan.result["cut_layers"] == ["middle"]
    page = as_podiatrist.get(f"/plans/{made.plan.code}/").content.decode()
    assert page.count('class="pressure-pair"') == 1
    assert "is not drawn" not in page
    assert "solved anew" not in page


def test_a_plan_page_says_why_it_has_no_pictures(as_podiatrist, limb, lesion):
    made = save(as_podiatrist, limb, lesion)
    del made.plan.result["foams"]
    made.plan.save()
    page = as_podiatrist.get(f"/plans/{made.plan.code}/").content.decode()
    assert "The picture is not drawn: the plan was kept without the laws of its foams." in page
    assert 'class="pressure-pair"' not in page


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"SECOND-x_mm": "90"}, "SECOND-x_mm"),
        ({"LESION-x_mm": "90"}, "LESION-x_mm"),
        ({"margin_mm": "1", "margin_face": "opening", "bevel_deg": "20"}, "margin_mm"),
        ({"baseline": "7"}, "baseline"),
        ({"lost_cover_mm": "2.9"}, "lost_cover_mm"),
    ],
)
def test_a_fault_stands_at_its_field_and_at_no_other(as_podiatrist, limb, lesion, changes, field):
    second = factories.lesion(on=limb, place="heel_central", label="B")
    keys = {"LESION": f"l{lesion.pk}", "SECOND": f"l{second.pk}"}

    def named(name):
        prefix, _, rest = name.partition("-")
        return f"{keys[prefix]}-{rest}" if prefix in keys else name

    data = numbers(lesion) | numbers(second, **{"LESION-y_mm": "40"})
    data |= {named(name): value for name, value in changes.items()}
    page = as_podiatrist.post(bench_url(limb), {**data, "action": "save"}).content.decode()
    assert set(re.findall(r'id="id_([\w-]+)_error"', page)) == {named(field)}
