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
    "measured_map",
    "pk",
}
#: Routes of a foot without the strip, and why.
WITHOUT = {
    "advice_print": "the sheet for the person speaks to the person, in the person's language",
    "bench_preview": "a fragment that the bench swaps into itself",
    "case_sheet": "a sheet of a past decision for the audit, without the person",
    "imprint_place": "wants a photo of today with its scale; its page has the person's bar as the others",
    "lesion_chart": "a picture inside the lesion's page",
    "lesion_compare_chart": "a picture inside the comparison",
    "look_read": "takes a post only",
    "map_withdraw": "takes a post only",
    "merge_do": "takes a post only",
    "merge_look": "two records side by side, chosen by who they are; nothing is treated there",
    "people_apart": "takes a post only",
    "person_copy": "the person's own copy of the record",
    "person_curves_chart": "a picture inside the page of curves",
    "photo_file": "a picture",
    "photo_scale_check": "a fragment of the page of scales",
    "photo_thumb": "a picture",
    "plan": "wants a computed plan; see below",
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


def of_a_foot(name):
    return bool(OF_A_FOOT & set(re.findall(r"<\w+:(\w+)>", ROUTES[name][0])))


@pytest.fixture
def foot(site):
    rows = records(site)
    limb = Limb.objects.select_related("person__site").get(pk=rows["limb"])
    factories.finding(of=limb, toe_pressure_mmhg=22)
    return rows, standing_of(limb, timezone.localdate()).strip[0]


@pytest.mark.parametrize("name", sorted(name for name in ROUTES if of_a_foot(name)))
def test_every_page_of_a_foot_says_its_standing_danger_first(client, podiatrist, manager, foot, name):
    rows, sentence = foot
    client.raise_request_exception = False
    client.force_login(manager if ROUTES[name][1] in ("audit", "run_clinic", "person_rights") else podiatrist)
    page = client.get(address(name, rows))
    there = page.status_code == 200 and sentence in html.unescape(page.content.decode(errors="replace"))
    assert there != (name in WITHOUT), f"{name}: {page.status_code}, {WITHOUT.get(name, 'no strip')}"


def test_the_plan_and_its_sheets_say_it_too(as_podiatrist, podiatrist, limb, lesion):
    kept = sign(podiatrist, draft(podiatrist, limb, lesion))
    factories.finding(of=limb, toe_pressure_mmhg=22)
    sentence = standing_of(limb, timezone.localdate()).strip[0]
    at = f"/plans/{kept.plan.code}/"
    assert sentence in html.unescape(as_podiatrist.get(at).content.decode())
    words = "Standing danger: Ischaemia grade 3"
    sheet = html.unescape(as_podiatrist.get(f"{at}sheet.svg").content.decode())
    assert words in re.sub(r"<[^>]*>\s*", " ", sheet).replace("  ", " ")
    pdf = PdfReader(io.BytesIO(as_podiatrist.get(f"{at}sheet-a4.pdf").content))
    for page in pdf.pages:
        assert words in " ".join(page.extract_text().split())


def test_every_exception_is_a_route():
    assert set(WITHOUT) <= {name for name in ROUTES if of_a_foot(name)}
