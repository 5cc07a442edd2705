"""What was found about the blood and the infection of one foot, and on which day? The input of the
standing state.
"""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from clinic.guidelines.errors import GradingError
from clinic.guidelines.infection import Erythema2Cm

__all__ = [
    "BONE",
    "CAUSES",
    "SIGNS",
    "LimbFindings",
    "InfectionFinding",
    "PerfusionFinding",
    "StandingSettings",
]

Pulses = Literal["both", "one", "none"]
Waveform = Literal["triphasic", "biphasic", "monophasic", "absent"]
Bone = Literal["no", "possible", "probable", "proven"]
OtherCause = Literal["charcot", "gout", "fracture", "thrombosis", "venous"]
Looker = Literal["podiatrist", "staff"]

SIGNS = ("swelling", "redness", "tenderness", "warmth", "pus")
#: From good to bad.
BONE: tuple[Bone, ...] = ("no", "possible", "probable", "proven")
CAUSES: tuple[OtherCause, ...] = ("charcot", "gout", "fracture", "thrombosis", "venous")


@dataclass(frozen=True)
class PerfusionFinding:
    """What one day's look at the blood supply of a foot found; ``None`` is not looked at.

    Parameters
    ----------
    on : datetime.date
    ankle_brachial_index, toe_brachial_index : float or None
        Systolic pressure at ankle or toe over the higher arm. [-]
    ankle_pressure_mmhg, toe_pressure_mmhg, tcpo2_mmhg : float or None
        Systolic pressures and transcutaneous oxygen. [mmHg]
    pulses : {"both", "one", "none"} or None
        Foot pulses felt.
    waveform : {"triphasic", "biphasic", "monophasic", "absent"} or None
        Doppler waveform, the worse of the two pedal arteries.
    newly_lost_pulse, newly_cold : bool or None
        A pulse felt before and not now; a foot newly cold, pale or blue.
    rest_pain, gangrene, worsening : bool or None
        New pain at rest, dead tissue, a wound getting worse: each ends the validity of what was measured
        before.
    toe_unmeasurable : bool or None
        A podiatrist gave the reason why no toe pressure can be taken; TcPO2 then stands in its place.
    """

    on: date
    ankle_brachial_index: float | None = None
    ankle_pressure_mmhg: float | None = None
    toe_pressure_mmhg: float | None = None
    toe_brachial_index: float | None = None
    tcpo2_mmhg: float | None = None
    pulses: Pulses | None = None
    waveform: Waveform | None = None
    newly_lost_pulse: bool | None = None
    newly_cold: bool | None = None
    rest_pain: bool | None = None
    gangrene: bool | None = None
    worsening: bool | None = None
    toe_unmeasurable: bool | None = None


@dataclass(frozen=True)
class InfectionFinding:
    """What one look for infection found; ``None`` is not looked at.

    Parameters
    ----------
    on : datetime.date
    signs : tuple of str or None
        Local signs found, of swelling, redness, tenderness, warmth and pus.
    looked : bool or None
        Device and dressing off, the five local signs looked for and the wound probed: what is not listed is
        absent.
    redness_mm : float or None
        Reach of redness from the wound's margin. [mm]
    deep : bool or None
        Infection beneath the skin, such as an abscess; never the mere depth of a wound.
    bone : {"no", "possible", "probable", "proven"} or None
        Infected bone, by probe, picture, blood and sample.
    unwell : bool or None
        Fever or shivering told, or generally unwell; not measured.
    other_cause : str or None
        What else explains the signs; counts when a podiatrist says it.
    by : {"podiatrist", "staff"} or None
    temperature_c : float or None
        [degrees C]
    pulse_per_min, breaths_per_min : float or None
        [1/min]
    white_cells_10e9_per_l : float or None
        [10^9/L]
    bone_treated : bool or None
        Signed: treatment of the infected bone completed, or the bone resected.
    """

    on: date
    signs: tuple[str, ...] | None = None
    looked: bool | None = None
    redness_mm: float | None = None
    deep: bool | None = None
    bone: Bone | None = None
    unwell: bool | None = None
    other_cause: OtherCause | None = None
    by: Looker | None = None
    temperature_c: float | None = None
    pulse_per_min: float | None = None
    breaths_per_min: float | None = None
    white_cells_10e9_per_l: float | None = None
    bone_treated: bool | None = None


@dataclass(frozen=True)
class LimbFindings:
    """Everything on record about one foot's blood and infection, in any order.

    Parameters
    ----------
    perfusion : tuple of PerfusionFinding
    infection : tuple of InfectionFinding
    revascularised_on : tuple of datetime.date
    healing_on_track : bool
        The wound heals as hoped: a perfusion value then holds longer.
    """

    perfusion: tuple[PerfusionFinding, ...] = ()
    infection: tuple[InfectionFinding, ...] = ()
    revascularised_on: tuple[date, ...] = ()
    healing_on_track: bool = False


@dataclass(frozen=True)
class StandingSettings:
    """How long a good finding counts and where sources disagree; the values of one clinic.

    None of the spans has a published source: each is common practice, or a choice of this software.

    Parameters
    ----------
    perfusion_days, perfusion_days_healing : int
        How long a toe-level value permits a device that stays on, and how long while the wound heals. [days]
    look_days : int
        How long a clean look for infection counts. [days]
    looks_apart_days : int
        Least time between the two clean looks that lift infection grade 3 or 4. [days]
    toe_after_days, tcpo2_after_days : int
        How long after revascularisation a toe pressure and a TcPO2 first tell. [days]
    toe_kit : bool
        The clinic can measure a toe pressure: waveforms with an ankle index then settle nothing.
    tcpo2_urgent_below : {25, 30}
        Line for urgent vascular assessment; the sources disagree. [mmHg]
    erythema_2_cm : {"moderate", "mild"}
        What redness of exactly 2 cm means; the editions differ.
    """

    perfusion_days: int = 90
    perfusion_days_healing: int = 180
    look_days: int = 7
    looks_apart_days: int = 2
    toe_after_days: int = 1
    tcpo2_after_days: int = 21
    toe_kit: bool = False
    tcpo2_urgent_below: Literal[25, 30] = 25
    erythema_2_cm: Erythema2Cm = "moderate"

    def __post_init__(self) -> None:
        for name, low, high in (
            ("perfusion_days", 1, 180),
            ("perfusion_days_healing", 1, 365),
            ("look_days", 0, 14),
            ("looks_apart_days", 2, 30),
            ("toe_after_days", 1, 90),
            ("tcpo2_after_days", 1, 90),
        ):
            value = getattr(self, name)
            if not low <= value <= high:
                raise GradingError(f"{name} is {value}, must lie from {low} to {high} days")
