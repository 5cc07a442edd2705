"""What is handed out or filed on paper: whole, on as many sheets as stated, without the program's own
furniture.
"""

import io
import re
import unicodedata
from datetime import timedelta

import pypdf
import pytest
from django.utils import timezone

from clinic.devices.reads.advice import limb_decision
from clinic.devices.writes.opening_cards import card_make
from clinic.devices.writes.prescriptions import prescription_sign
from clinic.guidelines.devices import DEVICES, NON_REMOVABLE
from clinic.models import Fitting, Prescription
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PAPER = {"A4": (595, 842), "Letter": (612, 792)}  # [pt]
FURNITURE = ("Sign out", "Switch user", "Search patients", "Go to the page", "Report a problem", "Review")
RECORD_PAGES = 5
LARGE_PAGES = 4
LARGE_PX = 16 * 96 / 72 - 0.01


def printed(visitor, path, papers=("A4",)):
    """The sheets of a page as printed, for each paper: their words, the words the page has and no sheet
    shows, and how many parts are wider than their place.
    """
    visitor.open(path)
    visitor.page.emulate_media(media="print")
    of_paper = []
    for paper in papers:
        pdf = pypdf.PdfReader(io.BytesIO(visitor.page.pdf(format=paper, print_background=False)))
        assert [float(side) for side in pdf.pages[0].mediabox[2:]] == pytest.approx(PAPER[paper], abs=1.5)
        # Ligatures of the font come out as one letter.
        of_paper.append([unicodedata.normalize("NFKC", sheet.extract_text()) for sheet in pdf.pages])
    wanted = visitor.page.evaluate(
        """() => {
          const out = [];
          const article = document.querySelector("main article");
          const walk = document.createTreeWalker(article, NodeFilter.SHOW_TEXT);
          while (walk.nextNode()) {
            const text = walk.currentNode;
            if (!text.parentElement.closest("button, summary, .meaning, .means")) out.push(text.data);
          }
          return out.join(" ");
        }"""
    )
    wide = visitor.page.evaluate(
        """() => [...document.querySelectorAll("main *")].filter((one) =>
          one.scrollWidth > one.clientWidth + 1 && getComputedStyle(one).display !== "inline"
        ).length"""
    )
    visitor.page.emulate_media(media="screen")
    words = set(re.findall(r"\w+", wanted))
    return [(sheets, sorted(words - set(re.findall(r"\w+", " ".join(sheets)))), wide) for sheets in of_paper]


@pytest.fixture
def podiatrist(lesion, visitor):
    user = lesion.limb.person.site.members.get(username="pod")
    visitor.sign_in(user)
    return user


def worst(lesion, device, beside):
    """A prescription with everything on its sheet that a sheet can have."""
    Prescription.objects.filter(limb=lesion.limb, stopped_on=None).update(
        stopped_on=timezone.localdate(), stop_reason="changed"
    )
    day = timezone.localdate()
    stays = device in NON_REMOVABLE
    made = factories.prescription(
        of=lesion.limb,
        lesions=[lesion],
        device_class=device,
        beside=beside,
        fitted_on=day,
        sealed_on=day if stays else None,
        open_by=day + timedelta(days=7) if stays else None,
    )
    Fitting.objects.create(
        prescription=made,
        fitted_on=day,
        sealed=stays,
        open_by=made.open_by,
        steps=[{"step": "Shin, ankle bones and edges padded", "answer": "done"}],
        bandage_below_knee_cm=4,
        watch_points="shin edge",
        review_on=day + timedelta(days=7),
        created_by=factories.author(),
    )
    return made


def test_the_persons_sheet_is_one_page_two_with_aids_and_has_both_numbers_on_the_first(
    visitor, lesion, podiatrist
):
    lesion.limb.person.site.name = "Alder Lane clinic for feet, knees and everything between them"
    lesion.limb.person.site.save()
    # The longest sheets: sores at heel, top and sole; nothing known of mobility, joints and infection.
    for place in ("heel_central", "dorsum"):
        factories.lesion(on=lesion.limb, place=place)
    found = []
    for device in DEVICES:
        for beside in ([], ["toe_spacer", "heel_float_in_bed_and_chair"]):
            made = worst(lesion, device, [one for one in beside if one != device])
            by_paper = printed(visitor, f"/prescriptions/{made.pk}/advice-sheet/", PAPER)
            for paper, (sheets, lost, wide) in zip(PAPER, by_paper, strict=True):
                numbers = len(set(re.findall(r"000 \d{4}", sheets[0]))) >= 2
                found.append((device, paper, len(sheets) <= (2 if beside else 1), numbers, lost, wide))
                assert not [word for word in FURNITURE if word in "".join(sheets)]
    assert not [row for row in found if row[2:] != (True, True, [], 0)], found


def test_the_card_is_one_page_and_large_print_is_large_and_whole(visitor, lesion, podiatrist):
    device = worst(lesion, sorted(NON_REMOVABLE)[0], ["toe_spacer"])
    Prescription.objects.filter(pk=device.pk).update(fitted_on=None, sealed_on=None, open_by=None)
    device.refresh_from_db()
    day = timezone.localdate()
    old, card = (
        card_make(by=podiatrist, prescription=device, sealed_on=day, open_by=day + timedelta(days=n))
        for n in (5, 6)
    )
    for paper in PAPER:
        for one in (old, card):
            [(sheets, lost, wide)] = printed(visitor, f"/cards/{one.pk}/", (paper,))
            assert (len(sheets), lost, wide) == (1, [], 0)
            assert ("Void" in sheets[0].split()) is (one == old)
    for path in (f"/cards/{card.pk}/", f"/prescriptions/{device.pk}/advice-sheet/"):
        [(sheets, lost, wide)] = printed(visitor, f"{path}?size=large")
        assert (lost, wide) == ([], 0)
        assert len(sheets) <= LARGE_PAGES
        assert "112" in sheets[0]
        visitor.page.emulate_media(media="print")
        sizes = visitor.page.evaluate(
            """() => [...document.querySelectorAll(".paper li, .paper p, .paper dd")]
              .map((one) => parseFloat(getComputedStyle(one).fontSize))"""
        )
        visitor.page.emulate_media(media="screen")
        assert min(sizes) >= LARGE_PX, "large print is 16 pt at least: from memory"


def test_the_signed_record_prints_whole_on_a_stated_number_of_sheets(visitor, lesion, podiatrist):
    limb = lesion.limb
    factories.finding(of=limb, toe_pressure_mmhg=75, charcot="none", rigid_deformity=False)
    decision = limb_decision(limb, timezone.localdate(), {"device_available": True})
    made = prescription_sign(
        by=podiatrist,
        limb=limb,
        lesions=[lesion],
        decision=decision,
        seen_digest=decision.digest,
        device_class="walker_knee_high_removable",
        departure_reason="",
        prescribed_on=timezone.localdate(),
        reason="Findings are missing that decide about non-removable devices; a boot that comes off "
        "meanwhile.",
    )
    for path in (f"/prescriptions/{made.pk}/record/", f"/prescriptions/{made.pk}/"):
        [(sheets, lost, wide)] = printed(visitor, path)
        assert not lost, f"{path}: not on paper: {lost}"
        assert not wide, f"{path}: {wide} parts wider than the paper"
        assert len(sheets) <= RECORD_PAGES
        assert not [word for word in FURNITURE if word in "".join(sheets)]
        assert limb.person.family_name in sheets[0], "whose record it is stands on the first sheet"
        assert "Supports licensed judgement" in sheets[-1]
        assert f"page 1 of {len(sheets)}" in sheets[0], "each sheet says which of how many"
    assert "boot that comes off meanwhile" in " ".join(sheets[0].split()), (
        "the reason stands on the first sheet"
    )


def test_every_page_that_is_printed_says_on_each_sheet_whose_it_is_and_which_of_how_many(visitor, lesion):
    person, site = lesion.limb.person, lesion.limb.person.site
    factories.user("manager", at=site, username="lead", password="a long pass phrase")
    made = factories.prescription(of=lesion.limb, lesions=[lesion])
    of_a_person = [f"/people/{person.pk}/", f"/lesions/{lesion.pk}/", f"/prescriptions/{made.pk}/"]
    for username, paths in {
        "pod": [*of_a_person, "/review/", "/today/preparation/"],
        "lead": ["/audit/"],
    }.items():
        visitor.page.context.clear_cookies()
        visitor.sign_in(site.members.get(username=username))
        for path in paths:
            visitor.open(path)
            pdf = pypdf.PdfReader(io.BytesIO(visitor.page.pdf(print_background=False)))
            sheets = [unicodedata.normalize("NFKC", sheet.extract_text()) for sheet in pdf.pages]
            for n, sheet in enumerate(sheets, start=1):
                assert f"page {n} of {len(sheets)}" in sheet, path
                assert site.name in sheet, path
                assert person.family_name in sheet or path not in of_a_person, path
                assert not [word for word in FURNITURE[:5] if word in sheet], path
