"""Whatever page of a foot is open, its standing danger is read there: a sweep over the table of addresses."""

import html
import io
import re

import pytest
from django.utils import timezone
from pypdf import PdfReader

from clinic.evidence.reads.standing import standing_of
from clinic.models import Limb
from tests import factories
from tests.clinic.relief.writes.test_relief import draft, lesion, limb, sign
from tests.test_access import ROUTES, address, records

__all__ = ["lesion", "limb"]

#: What a route of somebody's foot may name in its address.
OF_A_FOOT = {
    "person",
    "limb",
    "lesion",
    "visit",
    "flag",
    "look",
    "referral",
    "prescription",
    "card",
    "photo",
    "scale",
    "code",
    "plan_flag",
    "insole_outline",
    "measured_map",
    "pk",
}
#: Routes of a foot without the strip, and why.
WITHOUT = {
    "advice_print": "the sheet for the patient speaks to the patient, in the patient's language",
    "bench_preview": "a fragment that the bench swaps into itself",
    "case_sheet": "a sheet of a past decision for the audit, without the patient",
    "day_mark": "takes a post only",
    "imprint_place": "wants a photo of today with its scale; its page has the patient's bar as the others",
    "insole_from_photo": "wants a photo with its scale and a traced edge; its page has the patient's bar",
    "lesion_chart": "a picture inside the ulcer's page",
    "lesion_compare_chart": "a picture inside the comparison",
    "look_read": "takes a post only",
    "map_withdraw": "takes a post only",
    "merge_do": "takes a post only",
    "merge_look": "two records side by side, chosen by who they are; nothing is treated there",
    "people_apart": "takes a post only",
    "person_copy": "the patient's own copy of the record",
    "person_curves_chart": "a picture inside the page of curves",
    "photo_file": "a picture",
    "photo_scale_check": "a fragment of the page of scales",
    "photo_thumb": "a picture",
    "plan": "wants a computed plan; see below",
    "plan_contact": "wants a computed plan; see below",
    "plan_dxf": "a file for a cutting table; the sheet's own test reads its line",
    "plan_measured": "wants a plan with a computed pressure; its page has the bar as the others",
    "plan_pdf": "a file; the sheet's own test reads its line",
    "plan_sign": "takes a post only",
    "plan_svg": "a file; the sheet's own test reads its line",
    "prescription_second": "takes a post only",
    "scale_picture": "a picture",
    "trace_check": "a fragment of the tracing page",
    "visit_check": "a fragment of the visit page",
    "visit_finish": "only a begun visit has this page; the visit page's own test reads it there",
}
OF_MANAGERS = {"audit", "run_clinic", "person_rights"}


def of_a_foot(name):
    return bool(OF_A_FOOT & set(re.findall(r"<\w+:(\w+)>", ROUTES[name][0])))


@pytest.fixture
def foot(site):
    rows = records(site)
    limb = Limb.objects.select_related("person__site").get(pk=rows["limb"])
    factories.finding(of=limb, toe_pressure_mmhg=22)
    return rows, standing_of(limb, timezone.localdate()).strip[0]


@pytest.mark.any_database("the pages are asked of a second one in tests/test_access.py; here they are read")
def test_every_page_of_a_foot_says_its_standing_danger_first(client, podiatrist, manager, foot):
    rows, sentence = foot
    client.raise_request_exception = False
    wrong = []
    asked = sorted(name for name in ROUTES if of_a_foot(name))
    for reader, names in (
        (manager, [name for name in asked if ROUTES[name][1] in OF_MANAGERS]),
        (podiatrist, [name for name in asked if ROUTES[name][1] not in OF_MANAGERS]),
    ):
        client.force_login(reader)
        for name in names:
            page = client.get(address(name, rows))
            said = page.status_code == 200 and sentence in html.unescape(
                page.content.decode(errors="replace")
            )
            if said == (name in WITHOUT):
                wrong.append(f"{name}: {page.status_code}, {WITHOUT.get(name, 'no strip')}")
    assert len(asked) > 90
    assert not wrong, "\n".join(wrong)


def test_the_plan_and_its_sheets_say_it_too(as_podiatrist, podiatrist, limb, lesion):
    kept = sign(podiatrist, draft(podiatrist, limb, lesion))
    factories.finding(of=limb, toe_pressure_mmhg=22)
    sentence = standing_of(limb, timezone.localdate()).strip[0]
    at = f"/plans/{kept.plan.code}/"
    for page in (at, f"{at}contact/"):
        assert sentence in html.unescape(as_podiatrist.get(page).content.decode())
    words = "Standing danger: Ischaemia grade 3"
    sheet = html.unescape(as_podiatrist.get(f"{at}sheet.svg").content.decode())
    assert words in re.sub(r"<[^>]*>\s*", " ", sheet).replace("  ", " ")
    pdf = PdfReader(io.BytesIO(as_podiatrist.get(f"{at}sheet-a4.pdf").content))
    for page in pdf.pages:
        assert words in " ".join(page.extract_text().split())


def test_every_exception_is_a_route():
    assert set(WITHOUT) <= {name for name in ROUTES if of_a_foot(name)}
