"""A month of an invented clinic through the clinic's own writes: sixty people, and each day's
lists held against the pad.
"""

from __future__ import annotations

import uuid
from collections import Counter
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from random import Random

from django.utils import timezone

from clinic.alerts.writes import contacts, flags, referrals
from clinic.demo import devices
from clinic.demo.clock import at
from clinic.devices.reads.sealing import sealing_gate
from clinic.devices.writes import wear
from clinic.lesions.writes import closure, lesions, looks
from clinic.models import Lesion, Look, Person, Prescription, RedFlag, Referral, Site, User
from clinic.people.writes import people
from clinic.visits.questions import visit_questions
from clinic.visits.reads import visit_sheet
from clinic.visits.writes import visits
from clinic.visits.writes.visits import PersonFindings
from clinic.week.reads.review import review_list
from clinic.week.reads.today import today_lists
from tests import factories, feet

from .figures import Figures, said_twice, shown_rows
from .ledger import ZONE, Card, Sent, expected, works
from .wounds import look_at

#: Chosen so that the clocks go back (25 October) and a day off lies inside.
FIRST = date(2026, 10, 12)
HOLIDAYS = {date(2026, 10, 22), date(2026, 10, 29)}
FLAGS = ("fever_or_unwell", "suspected_charcot", "new_rest_pain")


class Month:
    """The clinic, its people and the pad beside them."""

    def __init__(self, people_count: int, seed: int) -> None:
        self.random = Random(seed)
        self.site: Site = factories.site(
            name="Month clinic", holidays=[day.isoformat() for day in sorted(HOLIDAYS)]
        )
        self.staff: User = factories.user("staff", at=self.site)
        self.podiatrist: User = factories.user("podiatrist", at=self.site)
        self.figures = Figures()
        self.cards: dict[int, Card] = {}
        self.before: set[tuple[str, int]] = set()
        self.people_count = people_count

    # --- the month ------------------------------------------------------------------------------------------
    def run(self, days: int, *, lists: bool = True) -> Figures:
        """Play these days; without `lists` nothing is held against the pad."""
        for n in range(self.people_count):
            with at(FIRST - timedelta(days=1), 10):
                self._register(n)
        for n in range(days):
            day = FIRST + timedelta(days=n)
            if lists:
                self.compare(day, 0, 10)
                self.compare(day, 8, 0)
            for pk in sorted(self.cards):
                if self.cards[pk].in_care:
                    with at(day, 9 + self.random.randrange(7), self.random.randrange(60)):
                        self._day(self.cards[pk], day)
            if lists:
                self.compare(day, 18, 0)
                self.compare(day, 23, 59)
        return self.figures

    def compare(self, day: date, hour: int, minute: int) -> None:
        """Hold the program's lists against the pad at one moment."""
        moment = datetime.combine(day, time(hour, minute), tzinfo=ZONE)
        with at(day, hour, minute):
            lists = today_lists(self.site, day)
            stops = self._review_stops(day) if hour == 8 else None
        shown = Counter(shown_rows(lists))
        should = expected(list(self.cards.values()), moment, HOLIDAYS)
        told = f"{day} {hour:02}:{minute:02}"
        self.figures.moments += 1
        self.figures.missing += [f"{told} {name} of {pk}" for name, pk in (should - shown).elements()]
        self.figures.wrong += [f"{told} {name} of {pk}" for name, pk in (shown - should).elements()]
        for (name, _), n in shown.items():
            self.figures.rows[name] += n
        for name, _ in set(shown) - self.before:
            self.figures.entered[name] += 1
        self.before = set(shown)
        self.figures.twice += [f"{told} {words}" for words in said_twice(lists)]
        if stops is not None:
            loud = {pk for (name, pk) in should if name in ("sealed", "flag") and self.cards[pk].open_lesions}
            asked = {pk for pk in loud if self.cards[pk].looks}
            self.figures.missing += [f"{told} review stop of {pk}" for pk in loud - asked - stops]
            self.figures.wrong += [f"{told} review stop of {pk}" for pk in stops - loud]

    def _review_stops(self, day: date) -> set[int]:
        return {
            row.lesion.limb.person_id
            for group in review_list(self.site, day).groups
            if group.concern == "stop"
            for row in group.rows
        }

    # --- beginning ------------------------------------------------------------------------------------------
    def _register(self, n: int) -> None:
        day = timezone.localdate()
        who = people.person_register(
            by=self.staff,
            site=self.site,
            given_name="Person",
            family_name=f"Number{n:03}",
            record_number=f"M{n:04}",
            birth_date=date(1950, 1, 1) + timedelta(days=97 * n),
            kg=Decimal(80),
            how="scales",
        )
        card = self.cards[who.pk] = Card(who.pk)
        if n % 20 == 19:
            return self._history(who, card, day)
        self._lesion(who, card, "mth_1", day)
        if n % 6 == 5:
            self._lesion(who, card, "mth_4", day)
        if n % 15 == 14:
            return None  # registered, not seen yet: no next date
        self._came(card, day, next_on=day + timedelta(days=1 + n % 7))
        if n % 3 == 0:
            limb = who.limbs.select_related("person__site").get(side="left")
            feet.ask_all(self.podiatrist, limb, day)
            chosen = {"device": "total_contact_cast", "reason": "Stays on: the simulated choice."}
            devices.prescribe(limb, list(limb.lesions.all()), chosen, day, by=self.podiatrist)
            self._seal(card, day)
        return None

    def _lesion(self, who: Person, card: Card, place: str, day: date) -> None:
        lesions.lesion_register(
            by=self.staff,
            limb=who.limbs.select_related("person__site").get(side="left"),
            place=place,
            wound_kind="ulcer",
            cause="neuropathic",
            onset_on=day - timedelta(days=30),
            first_seen_on=day,
            episode=None
            if card.open_lesions
            else {"first_presented_on": day - timedelta(days=5), "first_assessed_on": day, "referred_by": ""},
        )
        card.open_lesions += 1

    def _history(self, who: Person, card: Card, day: date) -> None:
        """Healed before the month began; the next date lies inside it, or none was agreed."""
        limb = who.limbs.get(side="left")
        with at(day, 10, 1):
            healed_on = day - timedelta(days=80)
            factories.lesion(
                on=limb,
                first_seen_on=day - timedelta(days=200),
                state="healed",
                outcome="healed",
                closed_on=day - timedelta(days=100),
                confirmed_on=healed_on,
            )
            card.healed_on = healed_on
            booked = day + timedelta(days=12) if card.pk % 2 else None
            factories.visit(of=who, on=healed_on, next_on=booked)
            card.entered(healed_on, came=True, next_on=booked)

    # --- one person's day -----------------------------------------------------------------------------------
    def _day(self, card: Card, day: date) -> None:
        chance = self.random.random
        self._answer_flags(card)
        self._chase(card, day)
        if self._leaves(card, day):
            return
        if card.looks and chance() < 0.5:
            self._answer_look(card)
        elif card.answers and chance() < 0.5:
            looks.look_read(by=self.staff, look=self._look(card, answered=True))
            card.answers -= 1
        elif card.open_lesions and not card.looks and not card.answers and chance() < 0.02:
            lesion = self._open(card)[0]
            looks.look_ask(by=self.staff, lesion=lesion, question="Is this rim undermined?")
            card.looks += 1
            self._count("looks asked for")
        if not works(day, HOLIDAYS) and chance() < 0.8:
            return
        if card.sealed_until is not None and day > card.sealed_until and chance() < 0.4:
            self._open_device(card, day)
        if card.next_on is not None and card.next_on <= day and card.latest_on != day:
            self._expected_visit(card, day)
        elif card.open_lesions and card.next_on is None and chance() < 0.4:
            self._without_a_date(card, day)
        elif not card.came and card.latest_on and card.latest_on < day and chance() < 0.4:
            self._call(card, day)

    def _expected_visit(self, card: Card, day: date) -> None:
        roll = self.random.random()
        overdue = card.next_on != day
        if overdue and roll < 0.5:
            return self._call(card, day) if roll < 0.3 else None
        if roll < 0.74:
            self._came(
                card, day, next_on=day + timedelta(days=7 if card.sealed_until else self.random.randint(5, 9))
            )
            return self._after_visit(card, day)
        if roll < 0.90:
            self._missed(card, day, "did_not_come")
        elif roll < 0.94:
            self._missed(card, day, self.random.choice(["cancelled", "in_hospital", "elsewhere"]))
        else:
            self._count("days nobody recorded")
        return None

    def _without_a_date(self, card: Card, day: date) -> None:
        if card.latest_on is None or self.random.random() < 0.3:
            if card.latest_on != day:
                self._came(card, day, next_on=day + timedelta(days=7))
                self._after_visit(card, day)
        else:
            self._call(card, day)

    # --- what the clinic does -------------------------------------------------------------------------------
    def _came(self, card: Card, day: date, *, next_on: date) -> None:
        flagged = self.random.random() < 0.05 and card.latest_on is not None
        sealed = card.sealed_until is not None
        lesions_now = self._open(card)
        answered = flagged and self.random.random() < 0.3
        who = self._person(card)
        found = PersonFindings(
            visited_on=day,
            next_on=next_on,
            red_flags=(self.random.choice(FLAGS),) if flagged else (),
            flag_answer="called" if answered else "",
            flag_answer_note="foot team answered" if answered else "",
            device_opened=sealed,
            wear="still_sealed" if sealed else "",
        )
        seen = [look_at(lesion, day, self.random) for lesion in lesions_now]
        if visit_questions(visit_sheet(who, day), found, seen):
            self._count("visits with a question about a typed value")
        visits.visit_log(
            by=self.staff,
            person=who,
            submission_key=uuid.UUID(int=self.random.getrandbits(128)),
            found=found,
            lesions=seen,
        )
        card.entered(day, came=True, next_on=next_on)
        card.sealed_until = None
        self._count("visits made")
        if flagged:
            card.flags += not answered
            self._count("flags raised")
        if self.random.random() < 0.2 and card.open_lesions:
            self._refer(card)

    def _after_visit(self, card: Card, day: date) -> None:
        if card.flags == 0:
            self._seal(card, day)

    def _seal(self, card: Card, day: date) -> None:
        """Seal what is not sealed; the day to open is a week off, and a later next date comes forward to
        it.
        """
        device = Prescription.objects.filter(limb__person=card.pk, stopped_on=None).first()
        if device is None or card.flags:
            return
        if sealing_gate(device, day).hindered:
            # New pain at rest asks for the toe to be measured again; what is still hindered stays open.
            feet.examine(self.podiatrist, device.limb, day)
            if sealing_gate(device, day).hindered:
                return
        devices.fit_what_is_due(self._person(card), day, by=self.staff, ask=lambda: None)
        card.sealed_until = day + timedelta(days=7)
        if card.next_on is not None and card.next_on > card.sealed_until:
            card.next_on = card.sealed_until
        self._count("devices sealed")

    def _open_device(self, card: Card, day: date) -> None:
        device = Prescription.objects.get(limb__person=card.pk, stopped_on=None)
        wear.prescription_open(
            by=self.staff, prescription=device, opened_on=day, expected_version=device.version
        )
        card.sealed_until = None
        self._count("devices opened late")

    def _missed(self, card: Card, day: date, attendance: str) -> None:
        latest = card.sealed_until
        again = day + timedelta(days=self.random.randint(1, 4)) if self.random.random() < 0.5 else None
        if again and latest is not None and again > latest:
            again = None
        visits.visit_missed(
            by=self.staff,
            person=self._person(card),
            submission_key=uuid.UUID(int=self.random.getrandbits(128)),
            day=day,
            attendance=attendance,
            next_on=again,
        )
        card.entered(day, came=attendance != "did_not_come", next_on=again)
        self._count("visits missed")

    def _call(self, card: Card, day: date) -> None:
        result = self.random.choices(["reached", "not_reached", "message"], [4, 5, 1])[0]
        again = None
        if result == "reached" and card.latest_on is not None:
            again = day + timedelta(days=self.random.randint(1, 4))
            if card.sealed_until is not None and again > card.sealed_until:
                again = None
        contacts.contact_log(
            by=self.staff, person=self._person(card), how="telephone", result=result, next_on=again
        )
        card.tries.append((timezone.localtime(), result == "reached"))
        if again is not None:
            card.next_on = again
        self._count("attempts to reach")

    def _refer(self, card: Card) -> None:
        urgency = self.random.choice(["immediate", "one_working_day", "planned"])
        referrals.referral_make(
            by=self.podiatrist,
            person=self._person(card),
            to="vascular",
            urgency=urgency,
            because="the simulated reason",
            made_at=timezone.now(),
        )
        card.referrals.append(Sent(timezone.localtime(), urgency))
        self._count("referrals made")

    def _chase(self, card: Card, day: date) -> None:
        for n, row in enumerate(Referral.objects.filter(person=card.pk).order_by("pk")):
            if card.referrals[n].reached or self.random.random() > 0.15:
                continue
            referrals.referral_follow(
                by=self.staff,
                referral=row,
                reached_at=timezone.now(),
                accepted_at=None,
                seen_on=None,
                result="",
                expected_version=row.version,
            )
            card.referrals[n].reached = True
            self._count("referrals reached")

    def _answer_flags(self, card: Card) -> None:
        for flag in RedFlag.objects.filter(person=card.pk, answer="").order_by("pk"):
            if self.random.random() < 0.45:
                flags.flag_answer(
                    by=self.staff, flag=flag, answer="called", note="foot team", expected_version=flag.version
                )
                card.flags -= 1
                self._count("flags answered later")

    def _look(self, card: Card, *, answered: bool) -> Look:
        rows = Look.objects.filter(lesion__limb__person=card.pk, read_at=None)
        return rows.exclude(answer="").get() if answered else rows.get(answer="")

    def _answer_look(self, card: Card) -> None:
        look = self._look(card, answered=False)
        looks.look_answer(by=self.podiatrist, look=look, answer="Yes", expected_version=look.version)
        card.looks, card.answers = card.looks - 1, card.answers + 1

    def _leaves(self, card: Card, day: date) -> bool:
        """Moves away with everything open, or is lost; rare."""
        roll = self.random.random()
        if roll < 0.001:
            who = self._person(card)
            people.person_set_state(
                by=self.staff, person=who, state="moved", state_on=day, expected_version=who.version
            )
            card.in_care = False
            self._count("people moved away")
            return True
        if roll < 0.003 and card.open_lesions == 1:
            lesion = self._open(card)[0]
            closure.lesion_end(
                by=self.podiatrist,
                lesion=lesion,
                outcome="minor_amputation",
                ended_on=day,
                expected_version=lesion.version,
            )
            card.open_lesions = 0
            self._count("lesions ended")
        return False

    def _person(self, card: Card) -> Person:
        return Person.objects.select_related("site").get(pk=card.pk)

    def _open(self, card: Card) -> list[Lesion]:
        rows = self._person(card).limbs.get(side="left").lesions.filter(state__in=["open", "to_confirm"])
        return list(rows.select_related("limb__person__site", "episode").order_by("label"))

    def _count(self, what: str) -> None:
        self.figures.happened[what] += 1
