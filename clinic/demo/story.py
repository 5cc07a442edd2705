"""One invented person's story, played through the clinic's own writes."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from random import Random
from typing import Any

from django.db import transaction
from django.utils import timezone

from clinic.alerts.writes import referrals
from clinic.capture.writes.measurement import LesionFindings
from clinic.guidelines.devices import NON_REMOVABLE
from clinic.lesions.writes import closure, events, lesions, looks
from clinic.models import (
    Lesion,
    LesionState,
    Limb,
    Person,
    Prescription,
    Role,
    Site,
    Trace,
    User,
)
from clinic.people.reads.limbs import insole_of_limb
from clinic.people.writes import limbs, people
from clinic.record.errors import Refused
from clinic.relief.reads.layers import InlayChoice
from clinic.relief.reads.relief import bench_lesions, start_of
from clinic.relief.reads.relief_record import CutChoice, LesionShape, limb_record, obstacle
from clinic.relief.reads.watch import points_of
from clinic.relief.writes import relief
from clinic.visits.writes import visits
from clinic.visits.writes.visits import PersonFindings
from offload.core.errors import SpecError
from offload.core.shapes.lesion import Ellipse

from . import capture, care, course, cutting, devices, leaving
from .arrivals import arrive, typed
from .footprint import measured_under
from .scenario import LesionPlot, PersonPlot

__all__ = ["Story"]

#: A week on, as the clinic books it.
WEEK = timedelta(days=7)
DRESSINGS = ("foam and film", "gauze", "foam and film, changed every other day")


class Story:
    """Holds what one person's steps share; each method is one thing the clinic does."""

    def __init__(self, plot: PersonPlot, site: Site, users: dict[str, User], seed: Random) -> None:
        self.plot, self.site, self.seed = plot, site, seed
        self.staff, self.podiatrist = users[Role.STAFF], users[Role.PODIATRIST]
        self.person: Person
        self.lesions: dict[int, Lesion] = {}
        self.runs: dict[int, list[float]] = {}
        self.traced: dict[int, Trace] = {}
        self.shape_seeds = [seed.random() for _ in plot.lesions]
        self.asked_on: date | None = None

    def register(self, day: date) -> None:
        self.person = arrive(self.plot, self.site, day, self.staff, self.podiatrist)

    def week(self, week: int, day: date, *, last: bool) -> None:
        """One week: new lesions, the visit, what follows from it."""
        for n, lesion in enumerate(self.plot.lesions):
            if lesion.from_week == week:
                self._begin(n, lesion, day)
        open_now = self._open()
        if not open_now:
            return
        if week in self.plot.missed_weeks and not self._sealed():
            visits.visit_missed(
                by=self.staff,
                person=self.person,
                submission_key=uuid.uuid4(),
                day=day,
                attendance="did_not_come",
                why_not="no transport",
                next_on=day + WEEK,
            )
            return
        self._visit(week, day, open_now)
        self._closures(day, last=last)
        self._worn(week, day)
        if week == self.plot.plan_week:
            self._plan_of_week(day)
        self._referral(week, day)
        for n, lesion in enumerate(self.plot.lesions):
            for event in lesion.events:
                if event["week"] == week and n in self.lesions:
                    more = {key: value for key, value in event.items() if key != "week"}
                    events.event_add(by=self.staff, lesion=self.lesions[n], happened_on=day, **more)
            if n in self.lesions:
                care.care_of_week(lesion, self.lesions[n], week, day, (self.staff, self.podiatrist))
        if last:
            self._ends(day, but=self.plot.gone)

    def ask(self, question: str) -> None:
        looks.look_ask(by=self.staff, lesion=next(iter(self.lesions.values())), question=question)

    def weigh(self, day: date) -> None:
        people.weight_add(
            by=self.staff, person=self.person, kg=Decimal(str(self.plot.kg)), how="scales", measured_on=day
        )

    def leave(self, day: date) -> None:
        """Moved away, or died; a wound still open ended that way."""
        self._ends(day, only=self.plot.gone)
        self.person.refresh_from_db()
        people.person_set_state(
            by=self.staff,
            person=self.person,
            state=self.plot.gone,
            state_on=day,
            expected_version=self.person.version,
        )
        if self.plot.drawn:
            leaving.settle(self.person, day, by=self.podiatrist)

    def _plan_of_week(self, day: date) -> None:
        """A drawn story goes on without a plan where there is none to make: in a cast there is no insole, and
        an ulcer may lie over its edge.
        """
        if not self.plot.drawn:
            self.plan(day, sign=True)
            return
        limb = next(self._limbs())
        if obstacle(limb_record(limb), bench_lesions(limb)) is not None:
            return
        with suppress(SpecError, Refused), transaction.atomic():
            self.plan(day, sign=True)

    def plan(self, day: date, *, sign: bool) -> None:
        """A relief plan for the open lesions that bear on the insole, where their imprint was measured."""
        limb = next(self._limbs())
        if self.plot.mapped:
            measured_under(limb, day, self.staff, self.seed)
        insole = insole_of_limb(limb)
        assert insole is not None  # every foot of the scenario has its length
        shapes = []
        for lesion in bench_lesions(limb):
            bench = start_of(lesion, insole)
            if bench.on_insole:
                shapes.append(LesionShape(lesion, "typed", self._imprint(bench.start)))
        drafted = relief.plan_draft(
            by=self.podiatrist,
            limb=limb,
            shapes=shapes,
            choice=self._choice(limb),
            departure_reason=self.plot.inlay.get("reason", ""),
        )
        if sign:
            relief.plan_sign(
                by=self.podiatrist,
                limb_plan=drafted,
                expected_version=drafted.plan.version,
                shut_reason="Clearance is measured in the shoe at the next visit.",
            )
            cutting.cut(drafted, day, self.staff, self.podiatrist, self.plot.measured)

    def _choice(self, limb: Limb) -> CutChoice | None:
        """The house's cut with the ring of other foam that the plot asks for; None where it asks for none."""
        if not self.plot.inlay:
            return None
        ring = {name: value for name, value in self.plot.inlay.items() if name != "reason"}
        return replace(limb_record(limb).house_choice, inlays=(InlayChoice(around="A", **ring),))

    def _imprint(self, start: Mapping[str, Any]) -> Ellipse:
        """The imprint lies near where the site's name puts it, never just there."""
        x, y = float(start["x_mm"]), float(start["y_mm"])
        centre = round(x + self.seed.uniform(-2, 2), 1), round(y + self.seed.uniform(-3, 3), 1)
        angle = float(start.get("angle_deg") or 0)
        return Ellipse(centre, float(start["length_mm"]), float(start["width_mm"]), angle)

    def _limbs(self) -> Iterator[Limb]:
        sides = dict.fromkeys(lesion.side for lesion in self.plot.lesions)
        for side in sides:
            yield self.person.limbs.select_related("person__site").get(side=side)

    def _open(self) -> list[int]:
        for lesion in self.lesions.values():
            lesion.refresh_from_db()
        return [n for n, lesion in self.lesions.items() if lesion.is_open]

    def _begin(self, n: int, plot: LesionPlot, day: date) -> None:
        limb = self.person.limbs.select_related("person__site").get(side=plot.side)
        before = (
            limb.lesions.filter(place=plot.place, state=LesionState.HEALED).order_by("-confirmed_on").first()
            if plot.recurs
            else None
        )
        self.lesions[n] = lesions.lesion_register(
            by=self.staff,
            limb=limb,
            place=plot.place,
            wound_kind=plot.kind,
            cause=plot.cause,
            onset_on=day - timedelta(days=14 if plot.recurs else 25),
            first_seen_on=day,
            episode={
                "first_presented_on": day - timedelta(days=9),
                "first_assessed_on": day,
                "referred_by": "family doctor",
            },
            recurs_of=before,
            recurrence_answered=plot.recurs,
        )
        weeks = self.plot.weeks - plot.from_week
        self.runs[n] = course.areas(plot.course, plot.first_cm2, weeks, self.seed)

    def _visit(self, week: int, day: date, open_now: list[int]) -> None:
        found = [self._look(n, week, day) for n in open_now]
        sealed = self._sealed()
        device = Prescription.objects.filter(limb__person=self.person, stopped_on=None).first()
        wear = self.plot.wear[week % len(self.plot.wear)]
        logged = visits.visit_log(
            by=self.staff if week % 3 else self.podiatrist,
            person=self.person,
            submission_key=uuid.uuid4(),
            found=PersonFindings(
                visited_on=day,
                next_on=day + WEEK,
                red_flags=(self.plot.flag,) if week == self.plot.flag_week else (),
                pain="none",
                fall=False,
                other_foot="clear",
                skin_under_device=("problem" if week == self.plot.red_at_watch_week else "clear")
                if device
                else "",
                skin_note="red at the edge of the cut-out" if week == self.plot.red_at_watch_week else "",
                device_condition="sound" if device else "no_device",
                wear=("still_sealed" if sealed else wear) if device and device.fitted_on else "",
                why_not_worn="too heavy for the stairs" if wear == "few" and not sealed else "",
                device_opened=sealed,
                watch=self._watched(week),
                weight_kg=self._weight(week),
                weight_how="scales" if self._weight(week) is not None else "",
            ),
            lesions=found,
        )
        if self.plot.photos and week % 3 == 0:
            capture.after_visit(self, logged.visit, week, open_now)

    def _sealed(self) -> bool:
        """Whether a foot is in a sealed device; nobody misses the visit at which it is opened."""
        return Prescription.objects.filter(
            limb__person=self.person, stopped_on=None, opened_on=None, sealed_on__isnull=False
        ).exists()

    def _watched(self, week: int) -> dict[int, str]:
        """Every watch point looked at; in one story the first one is red."""
        points = points_of(self.person)
        found = {point.pk: "clear" for point in points}
        if week == self.plot.red_at_watch_week and points:
            found[points[0].pk] = "red"
        return found

    def _weight(self, week: int) -> Decimal | None:
        """Weighed every third week, unless the story is of a weight gone stale."""
        due = self.plot.kg is not None and self.plot.weighed_weeks_ago == 1 and week % 3 == 0 and week > 0
        return Decimal(str(self.plot.kg)) if due else None

    def area(self, n: int, week: int) -> float:
        return self.runs[n][week - self.plot.lesions[n].from_week]

    def _look(self, n: int, week: int, day: date) -> LesionFindings:
        plot, lesion, area = self.plot.lesions[n], self.lesions[n], self.area(n, week)
        infected = plot.infected_week is not None and week >= plot.infected_week
        common: dict[str, Any] = {
            "lesion": lesion,
            "debridement": "after",
            "infection_looked": True,
            "infection_signs": ("redness", "warmth", "swelling") if infected else (),
            "redness_mm": 26 if infected else None,
            "deep_infection": False,
            "probe_to_bone": False,
            "unwell": False,
            "cavity": False,
        }
        if area == 0:
            return LesionFindings(covered_dry=True, **common)
        common |= {
            "depth": plot.depth if area > 0.3 else "skin",
            "tissue": "slough" if plot.course in ("stalled", "worsening") else "granulating",
            "exudate": "moderate" if plot.course == "worsening" else "light",
            "edge": "callus" if plot.course in ("stalled", "worsening") else "sloping",
            "dressing": DRESSINGS[len(self.plot.family) % len(DRESSINGS)],
            "surrounding_skin": "macerated" if plot.course == "worsening" else "healthy",
            "odour": False,
        }
        if plot.method == "ellipse":
            length = (area * 100 * 4 / 3.14159265 * 1.35) ** 0.5
            return LesionFindings(
                length_mm=Decimal(f"{length:.1f}"), width_mm=Decimal(f"{length / 1.35:.1f}"), **common
            )
        shape = Random(self.shape_seeds[n])  # noqa: S311
        if self.plot.traced and week % 3 == 0:
            trace = capture.photograph_and_trace(self, n, day, course.outline(area, shape))
            return LesionFindings(outline_mm=trace.outline_mm, trace=trace, **common)
        return LesionFindings(outline_mm=course.outline(area, shape), **common)

    def _closures(self, day: date, *, last: bool) -> None:
        for n in self._open():
            lesion, plot = self.lesions[n], self.plot.lesions[n]
            covered = lesion.measurements.order_by("-visit__visited_on").first()
            if covered is None or not covered.covered_dry:
                continue
            lesion = Lesion.objects.select_related("limb__person__site", "episode").get(pk=lesion.pk)
            if lesion.state == LesionState.OPEN:
                closure.lesion_close(
                    by=self.staff, lesion=lesion, closed_on=day, expected_version=lesion.version
                )
            elif plot.confirm and lesion.closed_on and day - lesion.closed_on >= 2 * WEEK:
                closure.lesion_confirm(
                    by=self.podiatrist,
                    lesion=lesion,
                    confirmed_on=day,
                    footwear="fitted extra-depth shoes with a moulded insole",
                    next_on=day + timedelta(days=60),
                    expected_version=lesion.version,
                )
                devices.stop_if_over(lesion, day, by=self.podiatrist)

    def _worn(self, week: int, day: date) -> None:
        if self.plot.asked_every and week and week % self.plot.asked_every == 0:
            self._asked_again(day)
        for chosen in self.plot.devices:
            if chosen["week"] == week:
                if week > 0 and chosen["device"] in (*NON_REMOVABLE, devices.ADVISED):
                    self._asked_again(day)
                limb, ulcers = next(self._limbs()), list(self.lesions.values())
                devices.prescribe(limb, ulcers, chosen, day, by=self.podiatrist)
        devices.fit_what_is_due(self.person, day, by=self.podiatrist, ask=lambda: self._asked_again(day))

    def _asked_again(self, day: date) -> None:
        """Toe and circumstances are asked anew, once a day, before a device that stays on is chosen."""
        if self.asked_on == day:
            return
        self.asked_on = day
        toe = {"toe_pressure_mmhg": self.plot.findings["toe_pressure_mmhg"]}
        for limb in self._limbs():
            limbs.finding_add(by=self.podiatrist, limb=limb, found_on=day, **toe)
        answers = typed(self.plot.circumstances)
        people.circumstances_add(by=self.staff, person=self.person, asked_on=day, **answers)

    def _referral(self, week: int, day: date) -> None:
        planned = self.plot.referral
        if planned is None or planned["week"] != week:
            return
        made = referrals.referral_make(
            by=self.podiatrist,
            person=self.person,
            lesion=next(iter(self.lesions.values())),
            to=planned["to"],
            urgency=planned["urgency"],
            because=planned["because"],
            made_at=timezone.now(),
        )
        if "result" in planned:
            referrals.referral_follow(
                by=self.staff,
                referral=made,
                reached_at=timezone.now(),
                accepted_at=timezone.now(),
                seen_on=day,
                result=planned["result"],
                expected_version=made.version,
            )

    def _ends(self, day: date, *, only: str = "", but: str = "") -> None:
        for n in self._open():
            plot, lesion = self.plot.lesions[n], self.lesions[n]
            outcome = plot.end or only
            if not outcome or (only and outcome != only) or outcome == but:
                continue
            lesion = Lesion.objects.select_related("limb__person__site", "episode").get(pk=lesion.pk)
            closure.lesion_end(
                by=self.podiatrist,
                lesion=lesion,
                outcome=outcome,
                ended_on=day,
                expected_version=lesion.version,
            )
