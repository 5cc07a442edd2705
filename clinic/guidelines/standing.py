"""What stands about this foot today? Blood and infection together: what they forbid, and who must be
asked.
"""

from dataclasses import replace
from datetime import date

from clinic.guidelines.advice import NOTICE
from clinic.guidelines.errors import GradingError
from clinic.guidelines.facts import Facts
from clinic.guidelines.standing_findings import LimbFindings, StandingSettings
from clinic.guidelines.standing_infection import infection_state
from clinic.guidelines.standing_perfusion import perfusion_state
from clinic.guidelines.standing_state import (
    InfectionState,
    LimbState,
    PerfusionState,
    StandingReferral,
    merged,
    spoken,
)
from clinic.guidelines.table import current, decide

__all__ = ["facts_of", "standing"]

STAYS_ON_CELLS = ("nr_first", "nr_mild")


def standing(findings: LimbFindings, today: date, settings: StandingSettings | None = None) -> LimbState:
    """The standing state of one foot.

    Parameters
    ----------
    findings : LimbFindings
        Everything on record, in any order.
    today : datetime.date
    settings : StandingSettings, optional
        The clinic's own; the packaged ones if not given.

    Returns
    -------
    LimbState

    Raises
    ------
    GradingError
        If a finding or an operation lies after `today`, or a value is out of its bounds.

    Notes
    -----
    Which cells of infection and ischaemia allow a device that stays on, and which referrals a grade asks for,
    stand in the rule table in force; nothing of it is repeated here.
    """
    settings = settings or StandingSettings()
    _not_after(findings, today)
    blood = perfusion_state(findings, today, settings)
    infection = infection_state(findings, today, settings)
    because = _withheld(blood, infection, today)
    running = not because
    if because and blood.ran_out is not None:
        aged = replace(blood, grade=blood.ran_out, settled=True, doubts=())
        running = not _withheld(aged, infection, today)
    asked = [*blood.refer, *infection.refer]
    asked += [StandingReferral(r.id, r.urgency, r.because) for r in decide(facts_of(blood, infection)).refer]
    return LimbState(
        today=today,
        ischaemia=blood,
        infection=infection,
        non_removable_allowed=not because,
        withheld_because=tuple(because),
        override_barred=tuple(_barred(blood, infection)),
        refer=merged(asked),
        notice=NOTICE,
        running_allowed=running,
    )


def _not_after(findings: LimbFindings, today: date) -> None:
    dated = [("perfusion", f.on) for f in findings.perfusion]
    dated += [("infection", f.on) for f in findings.infection]
    dated += [("revascularised_on", day) for day in findings.revascularised_on]
    for name, on in dated:
        if on > today:
            raise GradingError(f"{name} is dated {on}, must not lie after today, {today}")


def facts_of(blood: PerfusionState, infection: InfectionState) -> Facts:
    """The state as facts for the choice of device, every other fact missing; what is not known is None.

    Parameters
    ----------
    blood : PerfusionState
    infection : InfectionState

    Returns
    -------
    Facts
    """
    # Bone is a fact of its own: a grade of 3 from bone alone is read again from osteomyelitis by the rule
    # table.
    bone = {"no": False, "probable": True, "proven": True}.get(infection.bone or "")
    return Facts(
        infection_grade=infection.grade,
        osteomyelitis=bone,
        ischaemia_grade=blood.grade,
        ischaemia_settled=blood.settled,
        dvt_suspected=True if infection.thrombosis else None,
        active_charcot=True if infection.charcot else None,
    )


def _withheld(blood: PerfusionState, infection: InfectionState, today: date) -> list[str]:
    """Every reason why blood and infection do not allow a device that stays on."""
    because = []
    if not blood.settled:
        because.append(blood.doubts[0] if blood.doubts else blood.contradictions[0])
    if blood.grade is None:
        because.append("The ischaemia grade is not known.")
    if infection.grade is None:
        because.append("Nobody has looked for infection within the days a look counts.")
    if blood.grade is not None and infection.grade is not None:
        cell = current().matrix[infection.grade, blood.grade]
        if cell not in STAYS_ON_CELLS:
            because.append(
                f"Infection grade {infection.grade} and ischaemia grade {blood.grade} do not allow it."
            )
    if infection.bone != "no":
        because.append(f"Bone infection: {infection.bone or 'not looked for'}.")
    if infection.deep is not False:
        because.append(f"Infection beneath the skin: {'found' if infection.deep else 'not looked for'}.")
    if infection.unwell is not False:
        because.append(f"Fever or unwell: {'yes' if infection.unwell else 'not asked'}.")
    if not infection.complete and not because:
        because.append("Signs of infection were not looked at in full, or redness not measured.")
    if infection.thrombosis:
        because.append(f"Thrombosis is suspected ({spoken(today)}).")
    return because


def _barred(blood: PerfusionState, infection: InfectionState) -> list[str]:
    """Findings that no second signature overrides (common practice, no source)."""
    barred = []
    if infection.grade == 4:
        barred.append("infection grade 4")
    if infection.deep:
        barred.append("abscess or infection beneath the skin")
    if blood.gangrene_on:
        barred.append("gangrene")
    if infection.thrombosis:
        barred.append("suspected thrombosis")
    return barred
