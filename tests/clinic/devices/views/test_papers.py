"""Sheet and card as pages: the ambulance first, one list, refused when wrong, void when replaced,
translatable.
"""

import ast
import re
import struct
from datetime import timedelta
from html import unescape
from pathlib import Path

import pytest
from django.utils import timezone, translation

from clinic.devices.writes.opening_cards import card_hand_over, card_make
from clinic.devices.writes.prescriptions import prescription_stop
from clinic.guidelines.devices import DEVICES, NON_REMOVABLE
from clinic.models import Fitting, OpeningCard
from clinic.record.errors import Refused
from clinic.week.reads.downtime import downtime_pack
from tests import factories
from tests.clinic.alerts.views.test_ambulance_first import NAMES, OWN_NUMBER, order_faults

pytestmark = pytest.mark.django_db

ROOT = Path(__file__).resolve().parents[4]
AMBULANCE = "119 4"
DAY = timezone.localdate


def days(n):
    return DAY() + timedelta(days=n)


@pytest.fixture
def limb(site):
    site.telephone_emergency = AMBULANCE
    site.save()
    person = factories.person(at=site)
    return factories.lesion(on=factories.limb(of=person)).limb


def device(limb, name="total_contact_cast", **fields):
    return factories.prescription(of=limb, lesions=list(limb.lesions.all()), device_class=name, **fields)


def paper(client, path):
    """What is printed of a page; nothing where the paper is refused."""
    answer = client.get(path)
    assert answer.status_code == 200, path
    found = re.search(r'<article class="paper.*?</article>', answer.content.decode(), re.DOTALL)
    return found.group(0) if found else ""


def words_of(html):
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def card_of(by, of, n=7):
    return card_make(by=by, prescription=of, sealed_on=DAY(), open_by=days(n))


@pytest.mark.any_database("the paper is made of one row; the words are judged")
@pytest.mark.parametrize("size", ["", "?size=large"])
@pytest.mark.parametrize("name", DEVICES)
def test_the_sheet_says_the_ambulance_before_the_clinic(as_staff, limb, name, size):
    made = device(limb, name)
    text = words_of(paper(as_staff, f"/prescriptions/{made.pk}/advice-sheet/{size}"))
    assert NAMES.search(text)
    assert OWN_NUMBER.search(text)
    assert not order_faults(text)
    assert ("How to open it" in text) is (name in NON_REMOVABLE)


def test_the_card_says_the_ambulance_first_and_the_same_signs_and_opening_as_the_sheet(as_staff, staff, limb):
    site = limb.person.site
    site.opening_text = "Blunt shears along the front."
    site.save()
    made = device(limb)
    card = card_of(staff, made)
    told = [
        paper(as_staff, path) for path in (f"/cards/{card.pk}/", f"/prescriptions/{made.pk}/advice-sheet/")
    ]
    for html in told:
        assert not order_faults(words_of(html))
        assert "Blunt shears along the front." in html
        assert "Do not cut it, open it or loosen it yourself." in html
    for part in ("emergency", "call"):
        lists = [re.search(rf'<section class="{part}">.*?</ul>', html, re.DOTALL).group(0) for html in told]
        assert lists[0] == lists[1]


def test_a_paper_with_a_past_day_is_refused_with_a_sentence(as_staff, limb):
    made = device(limb, fitted_on=days(-9), sealed_on=days(-9), open_by=days(-2))
    url = f"/prescriptions/{made.pk}/advice-sheet/"
    assert "is past" in words_of(as_staff.get(url).content.decode())
    assert not paper(as_staff, url)


def test_the_next_visit_is_what_was_agreed_last_and_never_a_past_day(as_staff, limb):
    made = device(limb, "walker_knee_high_removable", fitted_on=days(-9))
    url = f"/prescriptions/{made.pk}/advice-sheet/"
    assert "no next visit yet" in words_of(paper(as_staff, url))
    Fitting.objects.create(
        prescription=made, fitted_on=days(-9), review_on=days(-2), created_by=factories.author()
    )
    assert not paper(as_staff, url)
    factories.visit(of=limb.person, on=days(-2), next_on=days(5))
    text = words_of(paper(as_staff, url))
    assert f"{days(5):%A %-d %B %Y}" in text
    assert f"{days(-2):%-d %B %Y}" not in text


def test_a_paper_without_a_number_or_of_a_stopped_device_is_refused(as_staff, staff, limb):
    site = limb.person.site
    made = device(limb, "walker_knee_high_removable")
    site.telephone_immediate_out_of_hours = ""
    site.save()
    url = f"/prescriptions/{made.pk}/advice-sheet/"
    assert "at once, out of hours missing" in words_of(as_staff.get(url).content.decode())
    site.telephone_immediate_out_of_hours = "000 2000"
    site.save()
    assert paper(as_staff, url)
    prescription_stop(
        by=staff,
        prescription=made,
        stopped_on=DAY(),
        stop_reason="broken",
        expected_version=made.version,
    )
    assert "nobody takes its paper home" in words_of(as_staff.get(url).content.decode())


def test_a_card_that_would_be_past_on_the_day_it_is_printed_is_not_made(staff, limb):
    made = device(limb, prescribed_on=days(-9))
    with pytest.raises(Refused, match="is past"):
        card_make(by=staff, prescription=made, sealed_on=days(-8), open_by=days(-1))


def test_a_newer_card_voids_the_older_on_page_and_print_and_it_cannot_be_given(as_staff, staff, limb):
    made = device(limb)
    first = card_hand_over(by=staff, card=card_of(staff, made, 5))
    never_given = card_of(staff, made, 4)
    second = card_of(staff, made, 6)
    for old in (first, never_given):
        html = paper(as_staff, f"/cards/{old.pk}/")
        assert 'class="paper card void"' in html
        assert "Do not use this card" in html
        page = as_staff.get(f"/cards/{old.pk}/").content.decode()
        assert f"a newer card says to open by {days(6):%-d %b %Y}" in page
        assert "The patient has the card" not in page
    with pytest.raises(Refused, match="void"):
        card_hand_over(by=staff, card=never_given)
    newest = paper(as_staff, f"/cards/{second.pk}/")
    assert "void-mark" not in newest
    text = words_of(newest)
    assert "Throw older cards away" in text
    assert f"{days(5):%-d %B %Y}" in text
    assert f"{days(4):%-d %B %Y}" not in text, "a card nobody holds is not told"
    card_hand_over(by=staff, card=second)


def test_a_card_is_void_once_its_device_was_opened_later_or_stopped(as_staff, limb):
    made = device(limb, prescribed_on=days(-5), sealed_on=days(-5), open_by=days(2), fitted_on=days(-5))
    card = factories.opening_card(of=made, sealed_on=days(-5), open_by=days(2))
    assert "void-mark" not in paper(as_staff, f"/cards/{card.pk}/")
    type(made).objects.filter(pk=made.pk).update(opened_on=DAY())
    assert "void-mark" in paper(as_staff, f"/cards/{card.pk}/")
    sealed_again = factories.opening_card(of=made, sealed_on=DAY(), open_by=days(7))
    assert "void-mark" not in paper(as_staff, f"/cards/{sealed_again.pk}/")
    type(made).objects.filter(pk=made.pk).update(stopped_on=DAY(), stop_reason="healed")
    assert "void-mark" in paper(as_staff, f"/cards/{sealed_again.pk}/")
    assert OpeningCard.objects.count() == 2


def test_a_language_on_record_is_told_to_the_staff_and_not_printed(as_staff, staff, limb):
    person = limb.person
    person.language, person.interpreter = "Welsh", True
    person.save()
    made = device(limb)
    for path in (f"/prescriptions/{made.pk}/advice-sheet/", f"/cards/{card_of(staff, made).pk}/"):
        page = as_staff.get(path).content.decode()
        assert "Welsh; needs an interpreter" in page
        assert "Welsh" not in paper(as_staff, path)


# --- Gathered for translation
# ---------------------------------------------------------------------------------

MARKED_IN = [
    *sorted((ROOT / "clinic" / "devices" / "prints").glob("*.py")),
    ROOT / "clinic" / "guidelines" / "devices.py",
]
TEMPLATES = [
    *sorted((ROOT / "templates" / "devices" / "paper").glob("*.html")),
    ROOT / "templates" / "devices" / "opening_cards" / "card.html",
]


def gathered():
    """Every string that the extraction of translations would find in the papers' sources."""
    found = set()
    for path in MARKED_IN:
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and ast.unparse(node.func) in ("_", "gettext_noop"):
                found |= {arg.value for arg in node.args if isinstance(arg, ast.Constant)}
    for path in TEMPLATES:
        found |= set(re.findall(r'{% translate "(.*?)" %}', path.read_text()))
    return found


def catalogue(messages):
    """A compiled catalogue as GNU gettext reads it (the file format of its manual, revision 0)."""
    entries = sorted({"": "Content-Type: text/plain; charset=UTF-8\n", **messages}.items())
    pairs = [(key.encode(), value.encode()) for key, value in entries]
    ids, start = b"", 28 + 16 * len(pairs)
    table = [b"", b""]
    for side in (0, 1):
        for pair in pairs:
            table[side] += struct.pack("<II", len(pair[side]), start + len(ids))
            ids += pair[side] + b"\0"
    head = struct.pack("<7I", 0x950412DE, 0, len(pairs), 28, 28 + 8 * len(pairs), 0, 0)
    return head + table[0] + table[1] + ids


def strange(words):
    """The same words in letters that no source of ours has."""
    return re.sub(r"[A-Za-z]", "ж", words)


@pytest.fixture
def translated(settings, tmp_path):
    """A language in which every gathered string is strange; what stays Latin was not gathered."""
    folder = tmp_path / "de" / "LC_MESSAGES"
    folder.mkdir(parents=True)
    (folder / "django.mo").write_bytes(catalogue({words: strange(words) for words in gathered()}))
    settings.LOCALE_PATHS = [tmp_path]
    settings.LANGUAGE_CODE = "de"
    with translation.override("de"):
        yield


def latin_left(html, values):
    text = words_of(html)
    for value in sorted(map(str, values), key=len, reverse=True):
        text = text.replace(value, "")
    months = "Januar|Februar|März|April|Mai|Juni|Juli|August|September|Oktober|November|Dezember"
    text = re.sub(rf"(Mon|Diens|Donners|Frei|Sams|Sonn)tag|Mittwoch|{months}", "", text)
    return re.findall(r"[A-Za-z]{2,}", text)


@pytest.mark.any_database("the words are judged")
@pytest.mark.parametrize("mobility", ["walks", "does_not_walk", ""])
def test_every_sentence_of_the_papers_goes_through_translation(as_staff, staff, limb, translated, mobility):
    person = limb.person
    other = factories.limb(of=person, side="right")
    values = [person.full_name, person.record_number, person.site.name]
    if mobility:
        person.circumstances.create(asked_on=DAY(), mobility=mobility, created_by=staff)
    kinds = [(name, where) for name in DEVICES for where in (limb, other)]
    for name, where in kinds:
        made = device(where, name, beside=[one for one in ("toe_spacer",) if one != name])
        html = paper(as_staff, f"/prescriptions/{made.pk}/advice-sheet/")
        assert "ж" in html
        assert not latin_left(html, values), name
        if name in NON_REMOVABLE:
            old, new = card_of(staff, made), card_of(staff, made)
            for card in (old, new):
                assert not latin_left(paper(as_staff, f"/cards/{card.pk}/"), values), name
        type(made).objects.filter(pk=made.pk).update(stopped_on=DAY(), stop_reason="changed")


def test_what_is_not_gathered_is_found():
    assert latin_left("<p>жж, Left over Ada Test</p>", ["Ada Test"]) == ["Left", "over"]
    assert len(gathered()) > 90


def test_a_card_made_after_an_opening_that_is_taken_back_is_void_and_the_one_before_counts(
    as_staff, staff, limb
):
    """Made by the machine of the cases: the person held a later day than the device's own."""
    sealed = {"sealed_on": days(-5), "open_by": days(2)}
    made = device(limb, prescribed_on=days(-5), fitted_on=days(-5), **sealed)
    card = factories.opening_card(of=made, **sealed)
    type(made).objects.filter(pk=made.pk).update(opened_on=days(-1))
    made.refresh_from_db()
    later = card_hand_over(by=staff, card=card_of(staff, made, 6))
    back = f"/prescriptions/{made.pk}/open/take-back/"
    assert f"says {days(6):%-d %b %Y}: take that card from the patient" in as_staff.get(back).content.decode()
    told = {"version": made.version, "reason": "It was never opened."}
    assert as_staff.post(back, told).status_code == 302
    assert "void-mark" in paper(as_staff, f"/cards/{later.pk}/")
    counts = paper(as_staff, f"/cards/{card.pk}/")
    assert "void-mark" not in counts
    assert f"{days(6):%-d %B %Y}" in words_of(counts), "the card to throw away is told"
    pack = downtime_pack(limb.person.site, DAY(), timezone.now())
    assert [one.card for one in pack.sealed] == [card]
