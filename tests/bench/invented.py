"""A whole invented network written in bulk, the same from the same seed: sites, people, lesions, visits,
devices.

How it is marked: its rows carry no history and no chain row each. The chain of every site begins with one
row, verb "seeded in bulk", that holds the seed and the counts; rows written through the program afterwards
follow it as usual.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from random import Random
from typing import Any

from django.db import connection, transaction
from django.db.models import Max
from django.utils import timezone

from clinic.guidelines.edition import current
from clinic.models import (
    Circumstances,
    Episode,
    Event,
    Lesion,
    Limb,
    LimbFinding,
    Measurement,
    Person,
    Prescription,
    RedFlag,
    Site,
    User,
    Visit,
    Weight,
)
from clinic.record.writes import audit
from clinic.rules.writes.house_rules import TELEPHONES

from .bulk import Bulk, reset_sequences
from .lives import Device, Ulcer, life, measured

__all__ = ["Sizes", "seed"]

GIVEN = ("Ada", "Bruno", "Clara", "Dario", "Elma", "Fenn", "Greta", "Hale", "Iris", "Joss", "Kaya", "Leif")
FAMILY = (
    "Amberly",
    "Brook",
    "Corran",
    "Dunmore",
    "Eskdale",
    "Fallow",
    "Garrow",
    "Holm",
    "Ister",
    "Jessop",
    "Kell",
)
SENTENCES = (
    "First class offered and accepted.",
    "Talked through and agreed with the person.",
    "The leg was looked at with the person and the family.",
    "Cannot come every week for changes.",
    "Will not have a device that stays on after the last one.",
    "No one trained to apply it was here today.",
)
MISSING = ("infection_grade", "ischaemia_grade", "high_falls_risk", "osteomyelitis")
Say = Callable[[int, int], None]


@dataclass(frozen=True)
class Sizes:
    sites: int
    people: int
    lesions: int
    measurements: int

    def of(self, site: int) -> tuple[int, int, int]:
        """People, lesions and measurements of one site; the sites add up to the whole exactly."""
        return (
            _part(self.people, self.sites, site),
            _part(self.lesions, self.sites, site),
            _part(self.measurements, self.sites, site),
        )


def _part(whole: int, parts: int, k: int) -> int:
    return whole // parts + (1 if k < whole % parts else 0)


class _Writer:
    """The tables of one network with keys counted up by hand, so that rows can point at each other unread."""

    def __init__(self, author: User, at: datetime) -> None:
        same: dict[str, Any] = {"created_by_id": author.pk, "created_at": at}
        self.next = {
            model: (model._default_manager.aggregate(last=Max("pk"))["last"] or 0) + 1
            for model in (Person, Limb, Episode, Lesion, Visit, Prescription)
        }
        self.people = Bulk(
            Person,
            ("id", "site", "record_number", "given_name", "family_name", "birth_date", "state", "state_on"),
            diabetes_type="type_2",
            **same,
        )
        self.limbs = Bulk(Limb, ("id", "person", "side"), foot_length_mm=260, foot_breadth_mm=98, **same)
        self.weights = Bulk(Weight, ("person", "measured_on", "kg"), how="scales", **same)
        self.screens = Bulk(
            Circumstances,
            ("person", "asked_on", "high_falls_risk"),
            cannot_attend_weekly=False,
            mobility="walks",
            **same,
        )
        self.findings = Bulk(
            LimbFinding,
            ("limb", "found_on", "toe_pressure_mmhg"),
            monofilament_tested=10,
            monofilament_felt=3,
            dorsalis_pedis="present",
            posterior_tibial="present",
            deformity="none",
            charcot="none",
            **same,
        )
        self.episodes = Bulk(
            Episode, ("id", "person", "first_presented_on", "first_assessed_on", "ended_on"), **same
        )
        self.lesions = Bulk(
            Lesion,
            (
                "id",
                "episode",
                "limb",
                "label",
                "place",
                "cause",
                "onset_on",
                "first_seen_on",
                "recurs_of",
                "state",
                "outcome",
                "closed_on",
                "confirmed_on",
                "ended_on",
            ),
            **same,
        )
        self.visits = Bulk(
            Visit,
            (
                "id",
                "person",
                "visited_on",
                "attendance",
                "why_not",
                "submission_key",
                "fall",
                "other_foot",
                "wear",
                "next_on",
            ),
            **same,
        )
        self.measurements = Bulk(
            Measurement,
            (
                "visit",
                "lesion",
                "covered_dry",
                "method",
                "area_mm2",
                "depth",
                "infection_looked",
                "infection_grade",
                "not_measured_because",
            ),
            **same,
        )
        self.devices = Bulk(
            Prescription,
            (
                "id",
                "limb",
                "device_class",
                "prescribed_on",
                "advice",
                "first_offered",
                "agrees",
                "agreement",
                "departure_reason",
                "reason",
                "signed_by",
                "signed_at",
                "fitted_on",
                "sealed_on",
                "open_by",
                "opened_on",
                "stopped_on",
                "stop_reason",
            ),
            facts={"A": {"where": "invented", "rows": []}},
            edition=current().edition,
            **same,
        )
        self.links = Bulk(Prescription.lesions.through, ("prescription", "lesion"))
        self.events = Bulk(Event, ("limb", "lesion", "happened_on", "kind"), **same)
        self.flags = Bulk(
            RedFlag, ("person", "visit", "raised_at", "flags", "answer", "answered_at", "answered_by"), **same
        )

    #: In an order in which no row points at a table not written yet.
    @property
    def order(self) -> tuple[Bulk, ...]:
        return (
            self.people,
            self.limbs,
            self.weights,
            self.screens,
            self.findings,
            self.episodes,
            self.lesions,
            self.visits,
            self.measurements,
            self.devices,
            self.links,
            self.events,
            self.flags,
        )

    def key(self, model: Any) -> int:
        given = self.next[model]
        self.next[model] = given + 1
        return given

    def flush(self) -> None:
        for bulk in self.order:
            bulk.flush()


def seed(sizes: Sizes, number: int, today: date, say: Say) -> int:
    """Write the network; returns the number of rows written. One transaction a site."""
    width, before = len(str(sizes.sites)), Site.objects.count()
    lead = _user("network-manager", "manager", "Network", "Manager")
    now = timezone.now()
    rows = 0
    for k in range(sizes.sites):
        place = before + k + 1
        with transaction.atomic():
            site = Site.objects.create(
                name=f"Invented clinic {place:0{width}d}",
                short_name=f"invented-{place:0{width}d}",
                **{name: f"000 {n + 1}000" for n, name in enumerate(TELEPHONES)},
            )
            people = [
                _user(f"podiatrist-{place}-a", "podiatrist", "Podiatrist", f"A {place}"),
                _user(f"podiatrist-{place}-b", "podiatrist", "Podiatrist", f"B {place}"),
                _user(f"staff-{place}", "staff", "Staff", str(place)),
                _user(f"manager-{place}", "manager", "Manager", str(place)),
            ]
            site.members.set([*people, lead])
            writer = _Writer(people[2], now)
            counts = sizes.of(k)
            rng = Random(f"{number}/{k}")  # noqa: S311  invented data, made again from its seed
            _site(writer, rng, site, people, counts, today)
            writer.flush()
            written = {bulk.model._meta.model_name: bulk.written for bulk in writer.order}
            rows += sum(written.values())
            reset_sequences([bulk.model for bulk in writer.order])
            audit.record(
                by=lead,
                site=site,
                verb="seeded in bulk",
                target=site,
                seed=number,
                rows=written,
                told="Invented network. These rows have no history and no chain rows of their own.",
            )
        say(k + 1, rows)
    with connection.cursor() as cursor:
        # Rows just copied in are not known to be visible to all: until then no index answers alone (measured:
        # half the time).
        alone = connection.vendor == "postgresql" and not connection.in_atomic_block
        cursor.execute("VACUUM ANALYZE" if alone else "ANALYZE")
    return rows


def _user(name: str, role: str, first: str, last: str) -> User:
    user, made = User.objects.get_or_create(
        username=name, defaults={"role": role, "first_name": first, "last_name": last}
    )
    if made:
        user.set_unusable_password()
        user.save(update_fields=["password"])
    return user


def _site(
    w: _Writer, rng: Random, site: Site, users: list[User], counts: tuple[int, int, int], today: date
) -> None:
    people, lesions, measurements = counts
    given = 0
    for n in range(people):
        own = _part(lesions, people, n)
        asked = [measured(given + i, lesions, measurements) for i in range(own)]
        given += own
        _person(w, rng, site, users, n, life(rng, asked, today), today)


def _person(
    w: _Writer, rng: Random, site: Site, users: list[User], n: int, ulcers: list[Ulcer], today: date
) -> None:
    person = w.key(Person)
    dead = next((u.ended for u in ulcers if u.outcome == "died" and u is ulcers[-1]), None)
    moved = next((u.ended for u in ulcers if u.outcome == "moved" and u is ulcers[-1]), None)
    w.people.add(
        person,
        site.pk,
        f"N{site.pk:04d}-{n + 1:05d}",
        rng.choice(GIVEN),
        f"{rng.choice(FAMILY)}-{n:04d}",
        date(rng.randint(1935, 1985), rng.randint(1, 12), rng.randint(1, 28)),
        "died" if dead else "moved" if moved else "in_care",
        dead or moved,
    )
    limbs = {side: w.key(Limb) for side in ("left", "right")}
    for side, limb in limbs.items():
        w.limbs.add(limb, person, side)
    start = ulcers[0].first_seen if ulcers else today - timedelta(days=200)
    kg = rng.randint(580, 1250) / 10
    w.weights.add(person, start, kg)
    if rng.random() < 0.8:
        w.weights.add(person, max(start + timedelta(days=1), today - timedelta(days=rng.randint(0, 60))), kg)
    w.screens.add(person, start, rng.random() < 0.15)
    visits: dict[date, int] = {}
    episode, before = 0, None
    for k, ulcer in enumerate(ulcers):
        if not ulcer.concurrent:
            together = [ulcer, *(u for u in ulcers[k + 1 :] if u.concurrent)]
            ends = [u.confirmed or u.ended for u in together]
            episode = w.key(Episode)
            w.episodes.add(
                episode,
                person,
                ulcer.presented,
                min(u.first_seen for u in together),
                None if None in ends else max(end for end in ends if end),
            )
            label = "A"
        else:
            label = "B"
        before = _lesion(
            w, rng, ulcer, person, limbs[ulcer.side], episode, label, before, visits, users, today
        )
    _visits_missed(w, rng, person, visits, ulcers, today)


def _lesion(
    w: _Writer,
    rng: Random,
    ulcer: Ulcer,
    person: int,
    limb: int,
    episode: int,
    label: str,
    before: int | None,
    visits: dict[date, int],
    users: list[User],
    today: date,
) -> int:
    lesion = w.key(Lesion)
    w.lesions.add(
        lesion,
        episode,
        limb,
        label,
        ulcer.place,
        ulcer.cause,
        ulcer.presented,
        ulcer.first_seen,
        before if ulcer.recurs else None,
        ulcer.state,
        ulcer.outcome,
        ulcer.closed,
        ulcer.confirmed,
        ulcer.ended,
    )
    w.findings.add(limb, ulcer.first_seen, rng.choice((None, 35, 55, 70, 90, 110)))
    depth = rng.choice(("skin", "subcutaneous", "tendon_capsule", ""))
    last = ulcer.days[-1]
    for day, area in zip(ulcer.days, ulcer.areas, strict=True):
        visit = visits.get(day)
        if visit is None:
            visit = visits[day] = w.key(Visit)
            coming = day + timedelta(days=7 if day == last or area else 14)
            w.visits.add(
                visit,
                person,
                day,
                "came",
                "",
                f"{rng.getrandbits(128):032x}",
                rng.random() < 0.01,
                "problem" if rng.random() < 0.02 else "clear" if rng.random() < 0.8 else "",
                rng.choice(("all", "most", "half", "")),
                coming,
            )
        skipped = area > 0 and rng.random() < 0.015
        looked = rng.random() < 0.9
        w.measurements.add(
            visit,
            lesion,
            area == 0,
            "not_measured" if skipped else "traced",
            None if skipped else area,
            depth if area else "",
            looked,
            1 if looked else None,
            "dressing left on" if skipped else "",
        )
    if rng.random() < 0.3:
        w.events.add(
            limb, lesion, ulcer.days[len(ulcer.days) // 2], rng.choice(("debrided", "sample", "imaging"))
        )
    if rng.random() < 0.02:
        seen = visits[last]
        open_now = ulcer.state == "open" and rng.random() < 0.3
        at = timezone.make_aware(datetime.combine(last, time(10)))
        w.flags.add(
            person,
            seen,
            at,
            json.dumps(["spreading_redness"]),
            "" if open_now else "called",
            None if open_now else at + timedelta(hours=1),
            None if open_now else users[2].pk,
        )
    for device in ulcer.devices:
        _device(w, rng, device, limb, lesion, users)
    return lesion


def _device(w: _Writer, rng: Random, d: Device, limb: int, lesion: int, users: list[User]) -> None:
    key = w.key(Prescription)
    agrees = {"departed": False, "unjudged": None}.get(d.agreement, True)
    missing = [name for name in MISSING if rng.random() < 0.4] or ["infection_grade"]
    tier = 1 if d.agreement in ("first", "departed") else 2
    offered = "total_contact_cast" if tier == 1 else d.device_class
    advice = {
        "classes": [{"id": offered, "tier": tier}],
        "withheld": [],
        "refer": [],
        "rules": [],
        "missing": missing if agrees is None else [],
    }
    w.devices.add(
        key,
        limb,
        d.device_class,
        d.prescribed,
        json.dumps(advice),
        d.device_class if d.agreement == "first" else offered,
        agrees,
        d.agreement,
        d.departure,
        SENTENCES[d.words],
        users[d.signer].pk,
        timezone.make_aware(datetime.combine(d.prescribed, time(11))),
        d.fitted,
        d.sealed,
        d.open_by,
        d.opened,
        d.stopped,
        d.stop_reason,
    )
    w.links.add(key, lesion)


def _visits_missed(
    w: _Writer, rng: Random, person: int, visits: dict[date, int], ulcers: list[Ulcer], today: date
) -> None:
    _remission(w, rng, person, visits, ulcers, today)
    for day in _between(sorted(visits)):
        if rng.random() < 0.06 and day not in visits and day <= today:
            attendance, why = rng.choice(
                (
                    ("did_not_come", ""),
                    ("did_not_come", ""),
                    ("cancelled", "no clinic that day"),
                    ("in_hospital", ""),
                    ("elsewhere", ""),
                )
            )
            w.visits.add(
                w.key(Visit),
                person,
                day,
                attendance,
                why,
                f"{rng.getrandbits(128):032x}",
                None,
                "",
                "",
                day + timedelta(days=4),
            )


def _remission(
    w: _Writer, rng: Random, person: int, visits: dict[date, int], ulcers: list[Ulcer], today: date
) -> None:
    """Looks every eight weeks after a closure, up to the next lesion or the day the person left."""
    for k, ulcer in enumerate(ulcers):
        if ulcer.confirmed is None or (k + 1 < len(ulcers) and ulcers[k + 1].concurrent):
            continue
        stop = ulcers[k + 1].first_seen if k + 1 < len(ulcers) else today + timedelta(days=1)
        day = ulcer.confirmed + timedelta(days=56)
        for _ in range(12):
            if day >= stop:
                break
            if day not in visits:
                visits[day] = w.key(Visit)
                w.visits.add(
                    visits[day],
                    person,
                    day,
                    "came",
                    "",
                    f"{rng.getrandbits(128):032x}",
                    False,
                    "clear",
                    "",
                    day + timedelta(days=56),
                )
            day += timedelta(days=56)


def _between(days: list[date]) -> Iterator[date]:
    for day in days[:-1]:
        yield day + timedelta(days=3)
