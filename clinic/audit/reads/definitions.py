"""What each figure of the audit counts, in words, with its source; the page, the print and the exports
say the same.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["DEFINITIONS", "Definition"]

OWN = "own definition"
NDFA = "National Diabetes Foot Care Audit of England and Wales, NHS Digital, glossary 2018-23"


@dataclass(frozen=True)
class Definition:
    words: str
    says: str
    source: str


DEFINITIONS: dict[str, tuple[Definition, ...]] = {
    "agreement": (
        Definition(
            "First choice given",
            "The class chosen is among those the guidance suggested first on the day of "
            "signing, "
            "and that was the first choice of the guidance for such a foot.",
            OWN,
        ),
        Definition(
            "Second choice, documented reason",
            "What the guidance suggested first was chosen, but a "
            "finding or "
            "circumstance of the record, with its date, kept the first choice away.",
            OWN,
        ),
        Definition(
            "Second choice, undated reason",
            "The same, but the first choice would be on offer if "
            "what was only "
            "ticked on the prescribing page were set aside.",
            OWN,
        ),
        Definition(
            "Departure with a reason",
            "Another class was chosen; the coded reason and the sentence are required.",
            OWN,
        ),
        Definition(
            "Non-removable against a known danger",
            "A non-removable class was signed although the advice withheld it for something known; a second "
            "clinician signs too. It counts as a departure as well.",
            OWN,
        ),
        Definition(
            "Cannot be judged",
            "Infection, bone infection, ischaemia, falls risk, weekly attendance, "
            "both feet, "
            "or Charcot was not known that day. Left out of the "
            "share, never counted as agreement.",
            OWN,
        ),
        Definition(
            "Share and interval",
            "First three parts among the first four. Wilson score interval, 95 "
            "%. "
            "Prescriptions of one patient count as independent, so it is somewhat too narrow. Under 5 "
            "cases no "
            "percentage.",
            "Wilson 1927, J Am Stat Assoc 22:209; the 5: common practice, no source",
        ),
    ),
    "reasons": (
        Definition(
            "Share here, network",
            "Share of the reason among the departures of this page, and among "
            "those of all "
            "clinics of this installation in the period, kept for an hour. Not shown under 5 "
            "departures.",
            OWN,
        ),
        Definition("First choice on offer", "Departures where the advice put a class first that day.", OWN),
        Definition(
            "Same sentence",
            "Departures whose sentence stands word for word on more than one patient; "
            "capitals "
            "and outer spaces do not matter.",
            OWN,
        ),
    ),
    "device": (
        Definition(
            "Fitted by day",
            "Of ulcers that came under care in the period and have been known for so "
            "many days: "
            "share with a device fitted by that day. Those still waiting are in the whole; those that "
            "ended "
            "before any device stand apart. A device already on counts as day 0.",
            OWN,
        ),
        Definition(
            "Median",
            "Days from the first expert assessment, or from the day the ulcer was first "
            "seen if later, "
            "to the first fitting; whoever waits stands beyond every day counted.",
            OWN,
        ),
        Definition(
            "Days without a device",
            "Days on which an ulcer was open in the period without a device "
            "fitted on "
            "that limb, over all days on which an ulcer was open.",
            OWN,
        ),
        Definition(
            "First presentation to first expert assessment",
            "Days between the two, per episode; the standard is as soon as possible, ideally within 14 days.",
            f"{NDFA}; the band from 14 days to 2 months from memory",
        ),
    ),
    "week12": (
        Definition(
            "Ulcer healed by day 84",
            "Per ulcer, from the first assessment: covered and dry by day "
            "84 and "
            "confirmed at a second visit at least 14 days later. Amputation and death compete with "
            "healing and "
            "are told apart. Counted once day 98 is past.",
            "two visits two weeks apart: regulators' definition, from memory; the days own definition",
        ),
        Definition(
            "Alive and ulcer-free at 12 weeks",
            "Per episode: alive on day 84 from the first expert "
            "assessment "
            "with every ulcer of the episode healed; whoever lost the part counts as ulcer-free when "
            "all wounds "
            "of the episode are healed. Known only if someone looked on day 70 or later, or all was "
            "confirmed. "
            "Counted once day 98 is past (window 70 to 98 days).",
            NDFA,
        ),
        Definition(
            "Unknown",
            "Lost, moved, joined another ulcer, closed but never confirmed, or not looked at from day 70 on. "
            "Left out of the "
            "share and told as a count.",
            OWN,
        ),
    ),
    "today": (
        Definition(
            "By first device",
            "Every ulcer named on a prescription of the period, once, as it "
            "stands today, in "
            "the row of the class first fitted for it; a later change does not move it. Devices are "
            "chosen by how "
            "bad the foot is, so rows do not compare devices.",
            OWN,
        ),
    ),
    "harm": (
        Definition("Device-weeks", "Days from fitting to taking off, within the period, over 7.", OWN),
        Definition("Taken off early", "Stopped in the period for any reason but healed or changed.", OWN),
        Definition(
            "Falls, other foot, skin",
            "Visits of the period that told of it, on a day on which a "
            "device was on. "
            'Not looked at is not "no".',
            OWN,
        ),
        Definition(
            "Opened late",
            "A non-removable device opened after its day, or past it and still sealed; the "
            "record keeps "
            "the last sealing of each device.",
            OWN,
        ),
    ),
    "recurrence": (
        Definition(
            "A new ulcer",
            "From the day an ulcer was confirmed healed to the next ulcer of the "
            "patient on either "
            "foot; death competes; the others are followed to their last visit. Aalen-Johansen "
            "estimate; two "
            "ulcers of one patient count as independent.",
            "Aalen and Johansen 1978, Scand J Stat 5:141; irrespective of place: IWGDF definitions, "
            "from memory",
        ),
    ),
    "followed": (
        Definition(
            "Area at 4 weeks",
            "An area, or covered and dry, on day 21 to 35 after the ulcer was "
            "first seen. Due "
            "once day 35 is past and the ulcer was still open then.",
            OWN,
        ),
        Definition(
            "Seen within 7 days",
            "The patient came on one of the 7 days after fitting.",
            "first review within one week: Fernando 2022, J Foot Ankle Res 15:31, table 5",
        ),
        Definition(
            "Visits",
            "Visits of the period, booked or made, by what became of them. Visits entered "
            "in error are "
            "in no figure.",
            OWN,
        ),
    ),
    "funnel": (
        Definition(
            "Limits",
            "A clinic's share lies between the dashed lines 19 times in 20, and between the "
            "whole lines "
            "998 times in 1,000, if only chance makes it differ from all clinics together. Exact "
            "binomial. Under "
            "5 cases a clinic is not shown. A point outside asks a question; it answers none.",
            "Spiegelhalter 2005, Stat Med 24:1185",
        ),
        Definition("Prescribers", "From 20 judged decisions on, for the prescriber and the lead only.", OWN),
    ),
}
