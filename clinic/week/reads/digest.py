"""How many of each thing wait at a site: counts only, nothing of anybody."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from clinic.models import UNSIGNED, Look, Prescription, Site
from clinic.people.reads.transfers import waiting_here
from clinic.week.reads.today import today_lists

__all__ = ["DigestLine", "digest_of"]


@dataclass(frozen=True)
class DigestLine:
    """One count, its words for one and for many, and the page that has the cases."""

    count: int
    one: str
    many: str
    url_name: str

    @property
    def words(self) -> str:
        return f"{self.count} {self.one if self.count == 1 else self.many}"


def digest_of(site: Site, day: date, now: datetime) -> tuple[DigestLine, ...]:
    """The lines of a site's digest, the loudest first; lines of nothing are left out."""
    lists = today_lists(site, day, now)
    morning = lists.morning
    questions = Look.objects.filter(lesion__limb__person__site=site, answer="").count()
    # Not the list of the page: that shows a signature only to those who may give it.
    unsigned = Prescription.objects.filter(UNSIGNED, limb__person__site=site).count()
    lines = (
        DigestLine(len(morning.flags), "red flag unanswered", "red flags unanswered", "today"),
        DigestLine(
            len(morning.sealed),
            "non-removable device past its day",
            "non-removable devices past their day",
            "today",
        ),
        DigestLine(len(morning.referrals), "referral not reached", "referrals not reached", "today"),
        DigestLine(len(morning.contacts), "patient not reached", "patients not reached", "today"),
        DigestLine(
            len(morning.no_date), "patient without a next date", "patients without a next date", "today"
        ),
        DigestLine(unsigned, "second signature missing", "second signatures missing", "today"),
        DigestLine(len(morning.plans), "relief plan to look at", "relief plans to look at", "today"),
        DigestLine(
            len(morning.opened), "opened device not sealed again", "opened devices not sealed again", "today"
        ),
        DigestLine(len(morning.left), "end to settle", "ends to settle", "today"),
        DigestLine(len(morning.begun), "visit to finish", "visits to finish", "today"),
        DigestLine(len(morning.results), "result due or not seen", "results due or not seen", "today"),
        DigestLine(
            len(morning.antibiotics),
            "antibiotic at its planned end",
            "antibiotics at their planned end",
            "today",
        ),
        DigestLine(len(morning.reviews), "non-healing review due", "non-healing reviews due", "today"),
        DigestLine(len(morning.items), "item of a review due", "items of reviews due", "today"),
        DigestLine(questions, "question awaiting reply", "questions awaiting reply", "review"),
        DigestLine(waiting_here(site), "transfer to answer", "transfers to answer", "transfers"),
        DigestLine(len(lists.overdue), "visit overdue", "visits overdue", "today"),
        DigestLine(len(lists.due), "visit due today", "visits due today", "today"),
        DigestLine(len(lists.remission), "patient in remission due", "patients in remission due", "today"),
    )
    return tuple(line for line in lines if line.count)
