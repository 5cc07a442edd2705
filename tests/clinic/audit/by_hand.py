"""The audit once more, the slow way: plain lists of rows, plain loops, written from the definitions on
the page.
"""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from datetime import timedelta
from statistics import median

from clinic.models import Episode, Lesion, Limb, Person, Prescription, Visit
from clinic.models import Measurement as M

EARLY = ("new_lesion", "not_tolerated", "broken", "infection", "other")


class Hand:
    """All rows of some sites as plain dictionaries, and every figure counted from them."""

    def __init__(self, sites, since, until, today):
        self.since, self.until, self.today = since, until, today
        self.people = {p["id"]: p for p in Person.objects.filter(site__in=sites).values()}
        self.limbs = {x["id"]: x for x in Limb.objects.values() if x["person_id"] in self.people}
        self.episodes = {e["id"]: e for e in Episode.objects.values() if e["person_id"] in self.people}
        self.lesions = {x["id"]: x for x in Lesion.objects.values() if x["limb_id"] in self.limbs}
        self.devices = {d["id"]: d for d in Prescription.objects.values() if d["limb_id"] in self.limbs}
        self.visits = [
            v for v in Visit.objects.values() if v["person_id"] in self.people and v["state"] == "stands"
        ]
        days = {v["id"]: v["visited_on"] for v in self.visits}
        self.areas = defaultdict(list)
        for m in M.objects.values():
            if m["visit_id"] in days and (m["area_mm2"] is not None or m["covered_dry"]):
                self.areas[m["lesion_id"]].append(days[m["visit_id"]])
        self.came = defaultdict(list)
        for v in self.visits:
            if v["attendance"] == "came":
                self.came[v["person_id"]].append(v["visited_on"])
        self.of_lesion, self.of_device = defaultdict(list), defaultdict(list)
        for link in Prescription.lesions.through.objects.values():
            self.of_lesion[link["lesion_id"]].append(link["prescription_id"])
            self.of_device[link["prescription_id"]].append(link["lesion_id"])
        self.got: dict[str, int] = Counter()
        self.of: dict[str, int] = {}

    def inside(self, day):
        return self.since <= day <= self.until

    def person(self, row):
        return self.people[self.limbs[row["limb_id"]]["person_id"]]

    def first_fitted(self, lesion):
        fitted = [self.devices[k] for k in self.of_lesion[lesion["id"]] if self.devices[k]["fitted_on"]]
        return min(fitted, key=lambda d: (d["fitted_on"], d["id"])) if fitted else None

    def stands(self, x):
        """How a lesion stands today."""
        if x["state"] == "healed":
            return "healed"
        if x["state"] == "ended":
            return {"minor_amputation": "amputation", "major_amputation": "amputation"}.get(
                x["outcome"], x["outcome"]
            )
        state = self.person(x)["state"]
        if state != "in_care":
            return state
        return x["state"]

    def all(self):
        signed = [d for d in self.devices.values() if self.inside(d["prescribed_on"])]
        self.choices(signed)
        self.named(signed)
        self.arrivals()
        self.per_episode()
        self.attendance()
        self.harm()
        self.after()
        return self

    def choices(self, signed):
        got = self.got
        sentences = defaultdict(list)
        for d in signed:
            got["all"] += 1
            got[f"part.{d['agreement']}"] += 1
            if d["overriding"]:
                got["overriding"] += 1
                how = "signed" if d["second_confirmed_at"] else "telephone" if d["second_at"] else "missing"
                got[f"overriding.{how}"] += 1
            if d["agrees"] is True:
                got["agreed"] += 1
            elif d["agrees"] is False:
                got["departed"] += 1
                got[f"reason.{d['departure_reason']}"] += 1
                if d["departure_own_id"]:
                    got[f"reason_own.{d['departure_own_id']}"] += 1
                sentences[d["reason"].strip().lower()].append(d)
            else:
                got["unjudged"] += 1
                got[f"reason_unjudged.{d['departure_reason']}"] += bool(d["departure_reason"])
                for name in d["advice"]["missing"]:
                    got[f"missing.{name}"] += 1
            if d["fitted_on"] is None:
                got["review.not_fitted"] += 1
                continue
            week = [d["fitted_on"] + timedelta(days=k) for k in range(1, 8)]
            if self.today <= week[-1]:
                got["review.not_due"] += 1
            elif set(week) & set(self.came[self.person(d)["id"]]):
                got["review.in_time"] += 1
            else:
                got["review.late"] += 1
        self.reused = sorted(
            (len(rows) for rows in sentences.values() if len({self.person(d)["id"] for d in rows}) > 1),
            reverse=True,
        )[:10]
        judged = got["agreed"] + got["departed"]
        self.of |= {"agreed": judged, "departed": judged, "unjudged": got["all"]}
        self.of |= {key: got["all"] for key in got if key.startswith("part.")}
        self.of |= {key: got["overriding"] for key in got if key.startswith("overriding.")}
        self.of["overriding"] = got["all"]
        self.of |= {key: got["unjudged"] for key in got if key.startswith("missing.")}
        due = got["review.in_time"] + got["review.late"]
        self.of |= {"review.in_time": due, "review.late": due}

    def named(self, signed):
        got = self.got
        for key in {k for d in signed for k in self.of_device[d["id"]]}:
            x = self.lesions[key]
            first = self.first_fitted(x)
            name = first["device_class"] if first else "none"
            for row in (name, "every"):
                got[f"outcome.{row}.{self.stands(x)}"] += 1
                got[f"outcome.{row}.all"] += 1
            got["lesions"] += 1
            over = x["closed_on"] or x["ended_on"] or self.person(x)["state_on"]
            first_day, last_day = (x["first_seen_on"] + timedelta(days=k) for k in (21, 35))
            if self.today <= last_day or (over and over <= last_day):
                got["four_week.not_due"] += 1
            elif any(first_day <= day <= last_day for day in self.areas[key]):
                got["four_week.recorded"] += 1
            else:
                got["four_week.missing"] += 1
        due = got["four_week.recorded"] + got["four_week.missing"]
        self.of |= {"four_week.recorded": due, "four_week.missing": due}
        for key in list(got):
            if key.startswith("outcome.") and not key.endswith(".all"):
                self.of[key] = got[key.rsplit(".", 1)[0] + ".all"]

    def arrivals(self):
        got, waits = self.got, []
        for x in self.lesions.values():
            known = max(self.episodes[x["episode_id"]]["first_assessed_on"], x["first_seen_on"])
            if x["wound_kind"] != "ulcer" or not self.inside(known):
                continue
            got["arrived"] += 1
            first = self.first_fitted(x)
            if first:
                days = max(0, (first["fitted_on"] - known).days)
                waits.append(days)
            elif self.stands(x) in ("open", "to_confirm"):
                days = 10**6
                waits.append(days)
                got["to_device.waiting"] += 1
            else:
                days = None
                got["to_device.never"] += 1
            for limit in (2, 7, 14):
                if days is not None and known + timedelta(days=limit) <= self.today:
                    self.of[f"to_device.by_{limit}"] = self.of.get(f"to_device.by_{limit}", 0) + 1
                    got[f"to_device.by_{limit}"] += days <= limit
            got[f"lesion12.{self.twelve_weeks(x, known)}"] += 1
        whole = sum(got[f"lesion12.{key}"] for key in ("healed", "open", "amputation", "died"))
        self.of |= {f"lesion12.{key}": whole for key in ("healed", "open", "amputation", "died")}
        self.median = median(waits) if waits else None

    def twelve_weeks(self, x, known):
        person, target = self.person(x), known + timedelta(days=84)
        if self.today <= known + timedelta(days=98):
            return "not_due"
        if x["state"] == "healed" and x["closed_on"] <= target:
            return "healed"
        if x["state"] == "ended" and x["ended_on"] <= target:
            if x["outcome"] in ("minor_amputation", "major_amputation"):
                return "amputation"
            if x["outcome"] == "died":
                return "died"
        left = person["state_on"] if person["state"] != "in_care" else None
        if left and person["state"] == "died" and left <= target:
            return "died"
        if x["state"] == "ended" and x["ended_on"] <= target:
            return "unknown"
        if x["state"] == "to_confirm" and x["closed_on"] <= target:
            return "unknown"
        if left and left <= target:
            return "unknown"
        looked = any(day >= known + timedelta(days=70) for day in self.came[person["id"]])
        return "open" if looked else "unknown"

    def per_episode(self):
        got = self.got
        by_episode = defaultdict(list)
        for x in self.lesions.values():
            by_episode[x["episode_id"]].append(x)
        for key, own in by_episode.items():
            e = self.episodes[key]
            start = e["first_assessed_on"]
            if not self.inside(start):
                continue
            got["episodes"] += 1
            wait = (start - e["first_presented_on"]).days
            band = (
                "wait_2"
                if wait <= 2
                else "wait_13"
                if wait <= 13
                else "wait_60"
                if wait <= 60
                else "wait_more"
            )
            got[f"assessed.{band}"] += 1
            got[f"episode12.{self.alive_and_free(e, own)}"] += 1
        whole = sum(got[f"episode12.{key}"] for key in ("free", "not_free", "died"))
        self.of |= {f"episode12.{key}": whole for key in ("free", "not_free", "died")}
        self.of |= {
            f"assessed.{key}": got["episodes"] for key in ("wait_2", "wait_13", "wait_60", "wait_more")
        }

    def alive_and_free(self, e, own):
        person, start = self.people[e["person_id"]], e["first_assessed_on"]
        target = start + timedelta(days=84)
        if self.today <= start + timedelta(days=98):
            return "not_due"
        left = person["state_on"] if person["state"] != "in_care" else None
        own = [x for x in own if x["first_seen_on"] <= target]
        if (left and person["state"] == "died" and left <= target) or any(
            x["outcome"] == "died" and x["ended_on"] <= target for x in own
        ):
            return "died"

        def gone(x):
            if x["state"] == "healed":
                return x["closed_on"] <= target
            part = x["outcome"] in ("minor_amputation", "major_amputation", "joined")
            return x["state"] == "ended" and part and x["ended_on"] <= target

        if all(gone(x) for x in own):
            return "free"
        if left and left <= target:
            return "unknown"
        for x in own:
            if x["state"] == "ended" and x["outcome"] in ("lost", "moved") and x["ended_on"] <= target:
                return "unknown"
            if x["state"] == "to_confirm" and x["closed_on"] <= target:
                return "unknown"
        looked = any(day >= start + timedelta(days=70) for day in self.came[person["id"]])
        return "not_free" if looked else "unknown"

    def attendance(self):
        mine = [v for v in self.visits if self.inside(v["visited_on"]) and v["visited_on"] <= self.today]
        for v in mine:
            self.got[f"visits.{v['attendance']}"] += 1
        kinds = ("came", "did_not_come", "cancelled", "in_hospital", "elsewhere")
        self.of |= {f"visits.{key}": len(mine) for key in kinds}

    def harm(self):
        got = self.got
        last = min(self.until, self.today)
        self.device_days = 0
        on_limb = defaultdict(list)
        for d in self.devices.values():
            if d["fitted_on"] is None:
                continue
            on_limb[d["limb_id"]].append(d)
            stopped = d["stopped_on"]
            if d["fitted_on"] <= last and (stopped is None or stopped >= self.since):
                got["devices"] += 1
                day = max(d["fitted_on"], self.since)
                while day <= last and (stopped is None or day < stopped):
                    self.device_days += 1
                    day += timedelta(days=1)
                if stopped and stopped <= last and d["stop_reason"] in EARLY:
                    got["harm.early"] += 1
                    got[f"harm.{d['stop_reason']}"] += 1
                if d["open_by"]:
                    late = (
                        d["opened_on"]
                        and d["opened_on"] > d["open_by"]
                        and self.since <= d["opened_on"] <= last
                    )
                    past = not d["opened_on"] and not stopped and self.since <= d["open_by"] < self.today
                    left_sealed = (
                        not d["opened_on"]
                        and stopped
                        and stopped > d["open_by"]
                        and self.since <= stopped <= last
                    )
                    got["harm.late"] += bool(late or past or left_sealed)
        for v in self.visits:
            if v["attendance"] != "came" or not self.since <= v["visited_on"] <= last:
                continue
            on = any(
                d["fitted_on"] <= v["visited_on"]
                and (d["stopped_on"] is None or d["stopped_on"] >= v["visited_on"])
                for limb in self.limbs.values()
                if limb["person_id"] == v["person_id"]
                for d in on_limb[limb["id"]]
            )
            if on:
                got["harm.fall"] += v["fall"] is True
                got["harm.other_foot"] += v["other_foot"] == "problem"
                got["harm.skin"] += v["skin_under_device"] == "problem"
        self.bare, self.open_days = 0, 0
        for x in self.lesions.values():
            self.days_without(x, on_limb[x["limb_id"]], last)
        self.of["gap.bare"] = self.got["gap.all"]

    def days_without(self, x, devices, last):
        if x["wound_kind"] != "ulcer":
            return
        known = max(self.episodes[x["episode_id"]]["first_assessed_on"], x["first_seen_on"])
        over = x["closed_on"] or x["ended_on"] or self.person(x)["state_on"]
        day, bare, counted = max(known, self.since), 0, known <= last and (over is None or over > self.since)
        while day <= last and (over is None or day < over):
            self.open_days += 1
            worn = any(
                d["fitted_on"] <= day and (d["stopped_on"] is None or day < d["stopped_on"]) for d in devices
            )
            bare += not worn
            day += timedelta(days=1)
        self.bare += bare
        self.got["gap.bare"] += bool(bare)
        self.got["gap.all"] += counted

    def after(self):
        self.followed = []
        for x in self.lesions.values():
            if x["state"] != "healed" or not self.inside(x["confirmed_on"]):
                continue
            self.got["healed"] += 1
            person, start = self.person(x), x["confirmed_on"]
            later = [
                y["first_seen_on"]
                for y in self.lesions.values()
                if self.person(y)["id"] == person["id"]
                and y["first_seen_on"] > start
                and y["wound_kind"] == "ulcer"
            ]
            if later:
                end, what = min(later), "recurred"
            elif person["state"] != "in_care":
                end = person["state_on"]
                what = "died" if person["state"] == "died" and end >= start else "free"
            else:
                end, what = max([start, *self.came[person["id"]]]), "free"
            self.got[f"after.{what}"] += 1
            self.followed.append((max(0, (end - start).days), what))

    def recurred_by(self, day):
        """Aalen-Johansen, one day after another [%]."""
        free, share = 1.0, 0.0
        for t in sorted({d for d, what in self.followed if what != "free" and d <= day}):
            risk = sum(d >= t for d, _ in self.followed)
            again = sum(d == t and what == "recurred" for d, what in self.followed)
            any_end = sum(d == t and what != "free" for d, what in self.followed)
            share += free * again / risk
            free *= 1.0 - any_end / risk
        return 100.0 * share

    def dumps(self):
        return json.dumps({k: v for k, v in sorted(self.got.items()) if v})
