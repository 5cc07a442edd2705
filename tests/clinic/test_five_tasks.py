"""Five things a new user looks for, found by following links only, each in a stated number of steps."""

import re
from datetime import date, timedelta
from html import unescape

import pytest
from django.utils import timezone

from clinic.audit.forms.periods import usual_periods
from clinic.models import DecisionLine, Visit
from tests import factories

TODAY = timezone.localdate


class Walk:
    """A user who sees a page and follows its links; each page after the first is a step."""

    def __init__(self, client, start):
        self.client, self.steps = client, -1
        self.go(start)

    def go(self, path):
        if path.startswith("?"):
            path = self.path.partition("?")[0] + path
        answer = self.client.get(path, follow=True)
        assert answer.status_code == 200, path
        self.path, self.page = path, answer.content.decode()
        self.steps += 1

    def links(self, within=""):
        """Links of the page's main part, or of the part after some words, with what they say."""
        main = self.page[self.page.index('<main id="main"') :]
        main = main[main.index(within) :]
        found = re.findall(r'<a\b[^>]*?href="([^"]+)"[^>]*>(.*?)</a>', main, re.DOTALL)
        return [(unescape(to), " ".join(re.sub(r"<[^>]+>", " ", words).split())) for to, words in found]

    def follow(self, words, within=""):
        """Follow the first link that says so."""
        for to, said in self.links(within):
            if re.search(words, said):
                return self.go(to)
        raise AssertionError(f"{self.path} has no link that says {words!r}")

    def says(self, words):
        shown = " ".join(unescape(re.sub(r"<[^>]+>", " ", self.page)).split())
        return re.search(words, shown)


@pytest.fixture
def clinic(site):
    """A steady ulcer, a stalled one whose device is past its day, and its reason."""
    steady = factories.lesion(on=factories.limb(of=factories.person(at=site, family_name="Calm")))
    factories.series(steady, [3.0, 2.2, 1.4, 0.8])
    urgent = factories.lesion(on=factories.limb(of=factories.person(at=site, family_name="Zealous")))
    factories.series(urgent, [2.0, 2.0, 2.0, 2.0, 2.0, 2.0])
    for lesion in (steady, urgent):
        visit = Visit.objects.filter(person=lesion.limb.person).latest("visited_on")
        Visit.objects.filter(pk=visit.pk).update(next_on=TODAY() + timedelta(days=7))
    factories.prescription(
        of=urgent.limb,
        lesions=[urgent],
        device_class="total_contact_cast",
        reason="Stalled in a walker that was worn half the day.",
        fitted_on=TODAY() - timedelta(days=8),
        sealed_on=TODAY() - timedelta(days=8),
        open_by=TODAY() - timedelta(days=1),
    )
    return urgent


def test_todays_most_urgent_foot_is_one_step_from_the_first_page(as_staff, clinic):
    walk = Walk(as_staff, "/")
    first = next(said for to, said in walk.links('aria-labelledby="urgent') if re.match(r"/people/\d+/$", to))
    assert "Zealous" in first
    walk.follow("Ulcer A", 'aria-labelledby="urgent')
    assert walk.says("was to be opened by")
    assert walk.steps == 1


def test_why_this_device_is_two_steps_from_the_work_list(as_podiatrist, clinic):
    device = clinic.limb.prescriptions.get()
    DecisionLine.objects.create(
        limb=clinic.limb,
        prescription=device,
        kind="signed",
        decided_on=device.prescribed_on,
        who="Pim",
        sentence=f"Total contact cast: {device.reason}",
        digest="0" * 64,
        created_by=device.created_by,
    )
    walk = Walk(as_podiatrist, "/review/")
    walk.follow("Zealous")
    walk.follow("Why this device")
    assert walk.says("worn half the day")
    assert walk.steps == 2


def test_what_a_stalled_ulcer_waits_for_stands_on_its_page(as_podiatrist, clinic):
    walk = Walk(as_podiatrist, "/review/")
    walk.follow("Zealous")
    assert walk.says("Waits for .*was to be opened by .*Non-healing review due")
    assert walk.steps == 1


def test_the_status_of_a_foot_is_printed_from_its_persons_page(as_staff, clinic):
    walk = Walk(as_staff, "/")
    walk.follow("Zealous")
    walk.follow("Status to print, right foot|Status to print , left foot|Status to print")
    assert walk.says("foot: status of")
    assert "data-print" in walk.page
    assert walk.steps == 2


def test_last_quarters_departures_without_reason_are_counted_one_step_from_the_audit(as_manager, clinic):
    _, since, _ = usual_periods(TODAY())[0]
    factories.prescription(
        of=clinic.limb,
        lesions=[clinic],
        prescribed_on=since + timedelta(days=3),
        stopped_on=since + timedelta(days=5),
        stop_reason="changed",
    )
    walk = Walk(as_manager, "/audit/")
    walk.follow("Last quarter")
    assert f"since={since.isoformat()}" in walk.path
    assert walk.says(r"Departed without a reason 0\b")
    assert walk.steps == 1


@pytest.mark.parametrize(
    ("today", "since", "until"),
    [
        (date(2026, 1, 1), date(2025, 10, 1), date(2025, 12, 31)),
        (date(2026, 3, 31), date(2025, 10, 1), date(2025, 12, 31)),
        (date(2026, 4, 1), date(2026, 1, 1), date(2026, 3, 31)),
        (date(2026, 12, 31), date(2026, 7, 1), date(2026, 9, 30)),
    ],
)
def test_the_last_quarter_is_the_calendars(today, since, until):
    assert usual_periods(today)[0] == ("Last quarter", since, until)
