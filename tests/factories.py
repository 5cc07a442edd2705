"""The least that a test needs: each function makes one valid row and takes any field by keyword."""

from __future__ import annotations

import itertools
from datetime import date, datetime, timedelta
from typing import Any

from django.utils import timezone

from clinic.models import (
    BreakGlass,
    DangerOwner,
    Episode,
    Event,
    IncomingCall,
    Lesion,
    Limb,
    LimbFinding,
    MeasuredMap,
    Measurement,
    Merge,
    OpeningCard,
    PeerCase,
    PeerRound,
    Person,
    Prescription,
    Problem,
    RedFlag,
    SavedReport,
    Site,
    SiteFoam,
    SiteReason,
    Transfer,
    User,
    Visit,
    Weight,
)
from offload.models import ClinicFoam

_numbers = itertools.count(1)


def site(**fields: Any) -> Site:
    n = next(_numbers)
    return Site.objects.create(
        **{
            "name": f"Test clinic {n}",
            "short_name": f"test-{n}",
            "second_factor": False,
            "telephone_emergency": "112",
            "telephone_immediate_in_hours": "000 1000",
            "telephone_immediate_out_of_hours": "000 2000",
            "telephone_one_working_day_in_hours": "000 1001",
            "telephone_one_working_day_out_of_hours": "000 2001",
            "telephone_planned_in_hours": "000 1002",
            "telephone_planned_out_of_hours": "000 2002",
            **fields,
        }
    )


def user(role: str = "staff", *, at: Site | None = None, **fields: Any) -> User:
    made = User.objects.create_user(
        username=fields.pop("username", f"{role}-{next(_numbers)}"),
        password=fields.pop("password", "correct horse battery"),
        role=role,
        **fields,
    )
    if at is not None:
        made.sites.add(at)
    return made


def author() -> User:
    """Somebody has to have made the row; who does not matter to the test."""
    return User.objects.filter(username="author").first() or User.objects.create_user(username="author")


def person(*, at: Site | None = None, **fields: Any) -> Person:
    n = next(_numbers)
    return Person.objects.create(
        **{
            "site": at or site(),
            "record_number": f"T{n:05d}",
            "given_name": "Ada",
            "family_name": f"Testperson{n}",
            "birth_date": date(1960, 5, 17),
            "created_by": author(),
            **fields,
        }
    )


def limb(*, of: Person | None = None, side: str = "left", **fields: Any) -> Limb:
    who = of or person()
    found = Limb.objects.filter(person=who, side=side).first()
    return found or Limb.objects.create(
        **{"person": who, "side": side, "foot_length_mm": 260, "created_by": author(), **fields}
    )


def finding(*, of: Limb | None = None, **fields: Any) -> LimbFinding:
    return LimbFinding.objects.create(
        **{"limb": of or limb(), "found_on": timezone.localdate(), "created_by": author(), **fields}
    )


def weight(*, of: Person, kg: float = 82, on: date | None = None, **fields: Any) -> Weight:
    return Weight.objects.create(
        **{
            "person": of,
            "kg": kg,
            "measured_on": on or timezone.localdate(),
            "how": "scales",
            "created_by": author(),
            **fields,
        }
    )


def lesion(*, on: Limb | None = None, **fields: Any) -> Lesion:
    where = on or limb()
    first_seen = fields.pop("first_seen_on", timezone.localdate() - timedelta(weeks=8))
    episode = Episode.objects.filter(person=where.person, ended_on=None).first() or Episode.objects.create(
        person=where.person,
        first_presented_on=first_seen - timedelta(days=10),
        first_assessed_on=first_seen,
        created_by=author(),
    )
    label = "ABCDEFGHIJ"[episode.lesions.count()]
    return Lesion.objects.create(
        **{
            "episode": episode,
            "limb": where,
            "label": label,
            "place": "mth_2",
            "cause": "neuropathic",
            "onset_on": first_seen - timedelta(days=30),
            "first_seen_on": first_seen,
            "created_by": author(),
            **fields,
        }
    )


def visit(*, of: Person, on: date | None = None, **fields: Any) -> Visit:
    return Visit.objects.create(
        **{"person": of, "visited_on": on or timezone.localdate(), "created_by": author(), **fields}
    )


def measurement(*, at: Visit, of: Lesion, cm2: float = 2.0, **fields: Any) -> Measurement:
    return Measurement.objects.create(
        **{
            "visit": at,
            "lesion": of,
            "method": "traced",
            "area_mm2": cm2 * 100,
            "created_by": author(),
            **fields,
        }
    )


def series(
    of: Lesion, areas_cm2: list[float], *, every_days: int = 7, last: date | None = None
) -> list[Visit]:
    """Weekly visits with these areas, the last of them on `last` (today if not given)."""
    end = last or timezone.localdate()
    visits = []
    for back, area in zip(range(len(areas_cm2) - 1, -1, -1), areas_cm2, strict=True):
        day = end - timedelta(days=back * every_days)
        made = visit(of=of.limb.person, on=day, next_on=day + timedelta(days=7))
        measurement(at=made, of=of, cm2=area)
        visits.append(made)
    return visits


def prescription(
    *, of: Limb | None = None, lesions: list[Lesion] | None = None, **fields: Any
) -> Prescription:
    where = of or limb()
    agrees = fields.get("agrees", True)
    fields.setdefault("agreement", {True: "first", False: "departed", None: "unjudged"}[agrees])
    made = Prescription.objects.create(
        **{
            "limb": where,
            "device_class": "walker_knee_high_removable",
            "prescribed_on": timezone.localdate(),
            "facts": {
                "A": {
                    "where": "under the second metatarsal head, left foot",
                    "rows": [{"name": "over_weight_limit", "value": False}],
                }
            },
            "advice": {"classes": [], "withheld": [], "refer": [], "rules": [], "missing": []},
            "edition": "test edition",
            "first_offered": "walker_knee_high_removable",
            "agrees": True,
            "reason": "First class offered.",
            "signed_by": author(),
            "signed_at": timezone.now(),
            "created_by": author(),
            **fields,
        }
    )
    made.lesions.set(lesions or [])
    return made


def event(*, of: Lesion, kind: str, on: date | None = None, **fields: Any) -> Event:
    return Event.objects.create(
        **{
            "limb": of.limb,
            "kind": kind,
            "happened_on": on or timezone.localdate(),
            "created_by": author(),
            **fields,
        }
    )


def call(*, of: Person, **fields: Any) -> IncomingCall:
    words = {"called_at": timezone.now(), "about": "rubbing", "words": "It rubs at the ankle."}
    return IncomingCall.objects.create(person=of, created_by=author(), **{**words, **fields})


def danger_owner(*, of: Limb, **fields: Any) -> DangerOwner:
    days = {"taken_on": timezone.localdate(), "next_on": timezone.localdate() + timedelta(days=14)}
    taken = {"danger": "ischaemia", "level": 3, "team": "vascular team", **days, **fields}
    return DangerOwner.objects.create(limb=of, created_by=author(), **taken)


def red_flag(*, of: Person, raised_at: datetime | None = None, **fields: Any) -> RedFlag:
    row = {"flags": ["fever_or_unwell"], "raised_at": raised_at or timezone.now(), **fields}
    return RedFlag.objects.create(person=of, created_by=author(), **row)


def opening_card(
    *, of: Prescription, sealed_on: date | None = None, open_by: date, **fields: Any
) -> OpeningCard:
    """A printed card that the person holds."""
    return OpeningCard.objects.create(
        **{
            "prescription": of,
            "sealed_on": sealed_on or timezone.localdate(),
            "open_by": open_by,
            "content": {"device": "Total contact cast", "side": of.limb.side, "open_at_once": []},
            "handed_at": timezone.now(),
            "handed_by": author(),
            "created_by": author(),
            **fields,
        }
    )


def broken_glass(*, of: Person, by: User | None = None, **fields: Any) -> BreakGlass:
    now = timezone.now()
    return BreakGlass.objects.create(
        **{
            "user": by or author(),
            "person_id": of.pk,
            "site": of.site,
            "reason": "Came to the emergency room tonight.",
            "opened_at": now,
            "until": now + timedelta(hours=1),
            **fields,
        }
    )


def problem(*, at: Site, **fields: Any) -> Problem:
    return Problem.objects.create(
        **{
            "site": at,
            "told_by": author(),
            "at": timezone.now(),
            "kind": "looks",
            "page": "today",
            "program_version": "test",
            "role": "staff",
            **fields,
        }
    )


def saved_report(*, at: Site, **fields: Any) -> SavedReport:
    return SavedReport.objects.create(
        **{"site": at, "name": f"Report {next(_numbers)}", "form": "csv", "created_by": author(), **fields}
    )


def peer_case(*, of: Prescription, **fields: Any) -> PeerCase:
    """A choice drawn for peer reading, in a round of its own."""
    today = timezone.localdate()
    drawn = PeerRound.objects.create(
        site=of.limb.person.site,
        seed=1,
        since=today - timedelta(days=365),
        until=today,
        size=1,
        created_by=author(),
    )
    return PeerCase.objects.create(
        **{"round": drawn, "prescription": of, "position": 1, "created_by": author(), **fields}
    )


def site_reason(*, at: Site | None = None, **fields: Any) -> SiteReason:
    given = {"kind": "stop", "words": f"Own reason {next(_numbers)}", "counts_as": "other", **fields}
    return SiteReason.objects.create(site=at or site(), created_by=author(), **given)


def heel_and_forefoot(peak: float = 300.0) -> list[list[float]]:
    """A grid of 5 mm cells as a foot of 260 mm leaves: a heel, a forefoot highest under its middle, a big
    toe.
    """
    grid = [[0.0] * 18 for _ in range(50)]
    for row in range(50):
        for column in range(18):
            along, across = (row + 0.5) * 5.0, (column + 0.5) * 5.0
            for y, x, long, broad, part in (
                (36, 45, 28, 24, 0.8),
                (190, 51, 24, 36, 1.0),
                (232, 24, 12, 11, 0.7),
            ):
                inside = 1.0 - ((along - y) / long) ** 2 - ((across - x) / broad) ** 2
                grid[row][column] = max(grid[row][column], round(part * peak * max(0.0, inside), 1))
    return grid


def measured_map(*, of: Limb | None = None, **fields: Any) -> MeasuredMap:
    """A peak map that fits the insole of a foot of 260 mm."""
    return MeasuredMap.objects.create(
        **{
            "limb": of or limb(),
            "measured_on": timezone.localdate() - timedelta(days=3),
            "worn": "flat shoe, uncut insole",
            "kind": "peak",
            "unit": "kPa",
            "cell_across_mm": 5,
            "cell_along_mm": 5,
            "kpa": heel_and_forefoot(),
            "points": [["heel", 45.0, 36.0], ["metatarsal_head_2", 45.0, 195.0]],
            "created_by": author(),
            **fields,
        }
    )


def site_foam(*, at: Site | None = None, **fields: Any) -> SiteFoam:
    foam = ClinicFoam.objects.create(
        **{
            "key": f"own-{next(_numbers)}",
            "label": f"Own sheet {next(_numbers)}",
            "points": [[0.25, 60.0], [0.5, 200.0]],
            "modulus_kpa": 171.4,
            "locking_strain": 0.875,
            "misfit_kpa": 0.0,
            "worst_kpa": 0.0,
            "source": "test",
            "measured_on": date(2026, 1, 2),
            "made_by": "test",
            "created_at": timezone.now(),
            **fields,
        }
    )
    return SiteFoam.objects.create(site=at or site(), foam=foam, created_by=author())


def merge(*, into: Person, **fields: Any) -> Merge:
    """A record that was empty, merged into another one."""
    gone = person(at=into.site, state="merged", state_on=timezone.localdate(), merged_into=into)
    return Merge.objects.create(
        **{
            "kept": into,
            "emptied": gone,
            "merged_at": timezone.now(),
            "because": "Registered twice.",
            "created_by": author(),
            **fields,
        }
    )


def transfer(*, of: Person, to: Site | None = None, **fields: Any) -> Transfer:
    """Asked by the person's clinic, not answered yet."""
    return Transfer.objects.create(
        **{
            "person": of,
            "from_site": of.site,
            "to_site": to or site(),
            "because": "Moved house.",
            "asked_at": timezone.now(),
            "record_number": of.record_number,
            "created_by": author(),
            **fields,
        }
    )
