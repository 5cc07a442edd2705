"""How much blood reaches this foot, as far as the record can be believed today?

Only a toe pressure or a TcPO2 says so: a stiff artery makes an ankle value worthless. A bad value stands
until the same measurement, taken later, is better; a good one permits what stays on for a while only.
"""

from collections.abc import Iterator
from datetime import date, timedelta

from clinic.guidelines.perfusion import TCPO2_SOURCES
from clinic.guidelines.perfusion_record import PerfusionReading, PerfusionRecord
from clinic.guidelines.rows import PRACTICE
from clinic.guidelines.standing_findings import LimbFindings, StandingSettings
from clinic.guidelines.standing_state import PerfusionState, RepeatDue, StandingReferral, UrgentLine, spoken

__all__ = ["perfusion_state"]


PAD = "intersocietal guideline 2023"
NG19 = "derived from NICE NG19"
GRADE_WORDS = ("none", "mild", "moderate", "severe")
#: Those that ask for somebody at once, in words.
EVENT_URGENT = {
    "newly_cold": f"foot newly cold, pale or blue ({NG19})",
    "rest_pain": f"new pain at rest ({NG19})",
}
EVENT_WORDS = {
    "newly_lost_pulse": "a pulse was newly lost",
    "newly_cold": "the foot was newly cold",
    "rest_pain": "there was new pain at rest",
    "gangrene": "there was dead tissue",
    "worsening": "the ulcer got worse",
}


def _disease(record: PerfusionRecord) -> list[str]:
    """Findings that speak for disease of the arteries, the newest of each kind."""
    signs = []
    low = record.low_index()
    high = record.newest("ankle_brachial_index")
    if high is not None and max(high[1]) > 1.3:
        signs.append(
            f"ankle-brachial index {max(high[1]):g} on {spoken(high[0])}, over 1.3: artery not compressible"
        )
    if low is not None and low[1] < 0.9:
        signs.append(f"ankle-brachial index {low[1]:g} on {spoken(low[0])}, under 0.9")
    toe = record.newest("toe_brachial_index")
    if toe is not None and min(toe[1]) < 0.70:
        signs.append(f"toe-brachial index {min(toe[1]):g} on {spoken(toe[0])}, under 0.70")
    wave = record.newest("waveform")
    for kind in ("absent", "monophasic"):
        if wave is not None and kind in wave[1]:
            signs.append(f"{kind} waveform on {spoken(wave[0])}")
    pulses = record.newest("pulses")
    if pulses is not None and pulses[1] != ["both"] * len(pulses[1]):
        which = "no foot pulse" if "none" in pulses[1] else "one of two foot pulses"
        signs.append(f"{which} felt on {spoken(pulses[0])}")
    return signs


def _waves_settle(record: PerfusionRecord) -> bool:
    """Whether bi- or triphasic waveforms with an ankle index of 0.9 to 1.3 stand in for the toe.

    Without a toe kit only; they lift a doubt from pulses alone (common practice, no source).
    """
    if record.settings.toe_kit or record.open_operation():
        return False
    wave, index = record.newest("waveform"), record.newest("ankle_brachial_index")
    toe = record.newest("toe_brachial_index")
    if wave is None or index is None or not (record.counts(wave[0]) and record.counts(index[0])):
        return False
    return (
        set(wave[1]) <= {"biphasic", "triphasic"}
        and all(0.9 <= value <= 1.3 for value in index[1])
        and (toe is None or min(toe[1]) >= 0.70)
        and all(reading.grade == 0 for reading in record.ankle())
    )


def _urgent(
    record: PerfusionRecord, toe_level: list[PerfusionReading], settled_operation: bool
) -> list[UrgentLine]:
    """Every finding past a line for urgent vascular assessment that still stands."""
    lines = []
    below = record.settings.tcpo2_urgent_below
    for reading in toe_level:
        if reading.field == "toe_pressure_mmhg" and reading.value < 30:
            lines.append(f"{reading.said}, below 30 mmHg ({PAD})")
        elif reading.field == "tcpo2_mmhg" and reading.value < below:
            lines.append(f"{reading.said}, below {below} mmHg ({TCPO2_SOURCES[below]})")
    last = record.operations[-1] if record.operations else None
    for reading in record.ankle():
        # An ankle value from before an operation is history once the toe has been measured after it.
        if settled_operation and last is not None and reading.on <= last:
            continue
        if reading.field == "ankle_pressure_mmhg" and reading.value < 50:
            lines.append(f"{reading.said}, below 50 mmHg ({PAD})")
        elif reading.field == "ankle_brachial_index" and reading.value < 0.4:
            lines.append(f"{reading.said}, below 0.4 ({PAD})")
    for field, day in _events(record):
        words = EVENT_URGENT[field]
        lines.append(f"{words[0].upper()}{words[1:]} on {spoken(day)}")
    dead = _gangrene(record)
    if dead is not None:
        lines.append(f"Dead tissue on {spoken(dead)} (NICE NG19)")
    return [UrgentLine(f"{text[0].upper()}{text[1:]}.", "vascular_assessment") for text in lines]


def _events(record: PerfusionRecord) -> Iterator[tuple[str, date]]:
    """Urgent findings without a figure, until a toe-level value of grade 0 was taken after them: a worse one
    bears them out (common practice, no source).
    """
    for field in EVENT_URGENT:
        day = record.last((field,))
        if day is not None and not record.cleared_since(day):
            yield field, day


def _gangrene(record: PerfusionRecord) -> date | None:
    """The day of dead tissue that nobody has found gone since."""
    found = record.newest("gangrene")
    return found[0] if found is not None and True in found[1] else None


def _due(record: PerfusionRecord) -> tuple[RepeatDue, ...]:
    """Repeat measurements after the last operation, left out once taken."""
    if not record.operations:
        return ()
    last = record.operations[-1]
    spans = ((28, 42, "4 to 6 weeks"), (84, 98, "3 months"))
    return tuple(
        RepeatDue(
            last + timedelta(days=first),
            last + timedelta(days=end),
            f"Toe pressure {words} after revascularisation ({PRACTICE})",
        )
        for first, end, words in spans
        if not record.since(last + timedelta(days=first - 1))
    )


def perfusion_state(findings: LimbFindings, today: date, settings: StandingSettings) -> PerfusionState:
    """The ischaemia grade that stands, whether it is settled, and who must be asked.

    Parameters
    ----------
    findings : LimbFindings
        None of its days lies after `today`.
    today : datetime.date
    settings : StandingSettings

    Returns
    -------
    PerfusionState

    Raises
    ------
    GradingError
        If a value is out of its bounds.

    Notes
    -----
    Of one measurement the newest value counts if it is as bad or worse, or one grade better; two or more
    grades better without revascularisation is believed when a second day confirms it (common practice, no
    source). Toe pressure and TcPO2 do not lift each other: the worse of the two stands. Grade 0 and 1 permit
    a device that stays on for a while only, after which grade 0 is unknown and grade 1 is in doubt; grades 2
    and 3 do not age.

    References
    ----------
    .. [1] Mills JL et al., J Vasc Surg 2014;59(1):220-234, doi:10.1016/j.jvs.2013.08.003: grades.
    .. [2] Fitridge R et al., Diabetes Metab Res Rev 2024;40(3):e3686: urgent lines, signs of arterial disease
    (read in
       secondary pages). Spans, doubts and how a value is lifted: common practice, no source.
    """
    record = PerfusionRecord(findings, today, settings)
    standing = [s for s in (record.toe, record.oxygen) if s is not None]
    current = [s.reading for s in standing if record.current(s.reading)]
    toe_level = [s.reading for s in standing if s.reading.grade or record.current(s.reading)]
    aged = [s.reading for s in standing if s.reading not in toe_level]
    operation = record.open_operation()
    disease = _disease(record)
    ankle = [reading for reading in record.ankle() if reading.grade]
    doubts: list[str] = []
    contradictions: list[str] = []

    setting = max(toe_level, key=lambda r: (r.grade, r in current, r.on), default=None)
    by_waves = False
    if not current and (setting is None or setting.grade < 2):
        setting = max(([setting] if setting else []) + ankle, key=lambda r: (r.grade, r.on), default=None)
        by_waves = setting is None and _waves_settle(record)
    decided = setting is not None and setting.grade >= 2 and setting in toe_level

    if operation is not None:
        doubts.append(
            f"Revascularised on {spoken(operation)}: earlier values are from before it; measure a toe "
            "pressure from "
            f"{spoken(operation + timedelta(days=settings.toe_after_days))} or TcPO2 from "
            f"{spoken(operation + timedelta(days=settings.tcpo2_after_days))} on."
        )
    for one in standing:
        if one.repeat is not None:
            doubts.append(
                f"{one.repeat.said} is {one.reading.grade - one.repeat.grade} grades better than "
                f"{one.reading.said} "
                "without revascularisation: repeat it on another day."
            )
    if record.ended is not None and not record.since(record.ended):
        told = [words for field, words in EVENT_WORDS.items() if record.last((field,)) == record.ended]
        doubts.append(f"On {spoken(record.ended)} {' and '.join(told)}: measure the toe again.")
    for field, day in _events(record):
        if record.since(day):
            doubts.append(
                f"On {spoken(day)} {EVENT_WORDS[field]}, and no toe value of grade 0 was taken since."
            )
    dead = _gangrene(record)
    if dead is not None:
        doubts.append(f"Dead tissue on {spoken(dead)}, not found gone since.")
    wave = record.newest("waveform")
    if wave is not None and "absent" in wave[1]:
        doubts.append(f"No Doppler signal on {spoken(wave[0])}, whatever the toe value: look again.")
    urgent = _urgent(record, toe_level, settled_operation=operation is None)
    ankle_urgent = [line for line in urgent if line.text.startswith("Ankle")]
    if ankle_urgent and current and setting is not None and setting.grade < 2:
        contradictions.append(
            f"{setting.said} says grade {setting.grade}; "
            f"{ankle_urgent[0].text[:1].lower()}{ankle_urgent[0].text[1:]} "
            "Read as not settled."
        )
    if not (current or decided or by_waves):
        doubts.append(_measure_the_toe(record, aged, disease))
    settled = not doubts and not contradictions
    if len({s.reading.grade for s in standing}) > 1:
        worse, better = sorted((s.reading for s in standing), key=lambda r: -r.grade)
        contradictions.append(
            f"{better.said[0].upper()}{better.said[1:]} does not lift {worse.said}: toe pressure and TcPO2 "
            "each lift only themselves."
        )

    if setting is not None:
        before = ", before revascularisation" if operation and setting.on <= operation else ""
        because = f"Ischaemia grade {setting.grade} ({GRADE_WORDS[setting.grade]}) by {setting.said}{before}."
    elif by_waves:
        because = "Ischaemia grade 0 by ankle-brachial index and waveforms, without a toe value."
    else:
        because = "Ischaemia grade not known."
    index = record.newest("ankle_brachial_index") if by_waves else None
    looked = bool(disease or standing or record.newest("pulses") or wave or record.ankle())
    diseased = bool(disease or any(r.grade for r in (*toe_level, *ankle)))
    return PerfusionState(
        grade=setting.grade if setting else 0 if index else None,
        settled=settled,
        from_field=setting.field if setting else "ankle_brachial_index" if index else None,
        on=setting.on if setting else index[0] if index else None,
        urgent=tuple(urgent),
        because=because,
        doubts=tuple(doubts),
        contradictions=tuple(contradictions),
        artery_disease=diseased if looked else None,
        gangrene_on=_gangrene(record),
        refer=tuple(_refer(record, urgent, doubts, disease)),
        due=_due(record),
        ran_out=_ran_out(record, aged, doubts, contradictions, disease),
        urgent_events=tuple(_events(record)),
    )


def _ran_out(
    record: PerfusionRecord,
    aged: list[PerfusionReading],
    doubts: list[str],
    contradictions: list[str],
    disease: list[str],
) -> int | None:
    """Worst grade of the values that only their age unsettles; None where anything else does too."""
    if len(doubts) != 1 or contradictions or disease or not aged:
        return None
    alone = all(not one.early and record.permits(one.on) for one in aged)
    return max(one.grade for one in aged) if alone else None


def _measure_the_toe(record: PerfusionRecord, aged: list[PerfusionReading], disease: list[str]) -> str:
    if aged:
        why = f"{aged[0].said} no longer counts"
    elif disease:
        why = f"{disease[0]}, without a current toe value"
    elif record.newest("ankle_brachial_index") or record.newest("ankle_pressure_mmhg"):
        why = "an ankle value alone, however normal, settles nothing"
    else:
        why = "no current toe value"
    return f"{why[0].upper()}{why[1:]}: measure the toe."


def _refer(
    record: PerfusionRecord, urgent: list[UrgentLine], doubts: list[str], disease: list[str]
) -> Iterator[StandingReferral]:
    for line in urgent:
        yield StandingReferral(line.refer, line.urgency, line.text)
    lost = record.last(("newly_lost_pulse",))
    if lost is not None and not record.cleared_since(lost):
        yield StandingReferral(
            "vascular_assessment", "one_working_day", f"Pulse newly lost on {spoken(lost)} ({PRACTICE})."
        )
    if doubts:
        yield StandingReferral("vascular_assessment", "planned", f"Perfusion in doubt: {doubts[0]}")
    if disease:
        yield StandingReferral(
            "vascular_assessment", "planned", f"Arterial disease: {'; '.join(disease)} ({PAD})."
        )
