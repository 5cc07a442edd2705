"""One person of an invented network: feet, ulcers, visits, devices, as rows."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from random import Random

from django.utils import timezone

from clinic.models import (
    Episode,
    Lesion,
    Limb,
    Person,
    Prescription,
    Site,
    User,
    Visit,
)

from .lives import Device, Ulcer
from .network_tables import Writer

__all__ = ["add_person"]

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


def add_person(
    w: Writer, rng: Random, site: Site, users: list[User], n: int, ulcers: list[Ulcer], today: date
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
    w: Writer,
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


def _device(w: Writer, rng: Random, d: Device, limb: int, lesion: int, users: list[User]) -> None:
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
    w: Writer, rng: Random, person: int, visits: dict[date, int], ulcers: list[Ulcer], today: date
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
    w: Writer, rng: Random, person: int, visits: dict[date, int], ulcers: list[Ulcer], today: date
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
