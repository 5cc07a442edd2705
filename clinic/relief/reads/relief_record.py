"""What the record says of a limb that a relief plan is built from, and what it remarks on the plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

from django.utils import timezone

from clinic.guidelines.devices import DEVICES
from clinic.models import (
    Amputation,
    ImprintHow,
    InsoleOutline,
    Lesion,
    Limb,
    LimbFinding,
    LimbPlan,
    MeasuredMap,
    PersonState,
    Prescription,
    Weight,
)
from clinic.people.reads.limbs import drawn_insole, outline_of_limb
from clinic.record.dates import day_words
from clinic.record.errors import Refused
from clinic.relief.reads.device_load import load_reasons, loaded_device, refuse_other_device
from clinic.relief.reads.layers import (
    InlayChoice,
    LayerChoice,
    chosen_stack,
    stack_departures,
    wear_reasons,
    with_inlays,
)
from clinic.relief.reads.measured_maps import laid_map, maps_of
from clinic.rules.reads.foams import foam_choices, foams_known, own_foams
from offload.core.foam.law import Foam
from offload.core.plan.checks import Check, plantar_check, weight_check
from offload.core.plan.policy import Policy
from offload.core.plan.spec import ReliefSpec
from offload.core.shapes.insole import Insole
from offload.core.shapes.lesion import Ellipse, LesionSpec
from offload.core.shapes.outline import Outline
from offload.models import PlanState, ReliefPlan
from offload.plans.keeping import Remarks

__all__ = [
    "WEIGHT_MISSING",
    "CutChoice",
    "LesionShape",
    "LimbRecord",
    "Obstacle",
    "limb_record",
    "margin_departures",
    "obstacle",
    "relief_spec",
    "remarks",
]

WEIGHT_MISSING = "weight"  # the obstacle that leaves the drawing usable


@dataclass(frozen=True)
class LesionShape:
    """One lesion as it stands on the bench: its shape and place on the insole, and how they were found."""

    lesion: Lesion
    how: str
    drawn: Ellipse | Outline
    from_site_name: bool = False

    @property
    def outline(self) -> Outline:
        """The shape as the core draws it."""
        return self.spec.outline

    @cached_property
    def spec(self) -> LesionSpec:
        """The lesion of the plan's specification."""
        return LesionSpec.of_shape(self.lesion.label, self.drawn)


@dataclass(frozen=True)
class CutChoice:
    """How the opening is cut; `rigid_deformity` None means as the record says."""

    margin_mm: float
    distal_margin_mm: float
    bevel_deg: float
    margin_face: str = "floor"
    cut: str = "auto"
    rigid_deformity: bool | None = None
    lost_cover_mm: float = 0.0
    lost_middle_mm: float = 0.0
    lost_base_mm: float = 0.0
    measured_map: int | None = None
    """Number of the map that the pressures start from; None for the reference map."""
    layers: tuple[LayerChoice, ...] = ()
    """Foam and thickness of each layer from the foot down; what is left out is the house's."""
    inlays: tuple[InlayChoice, ...] = ()

    def lost(self, role: str) -> float:
        """Thickness that wear has taken from a layer of this role [mm]."""
        return float(getattr(self, f"lost_{role}_mm"))


@dataclass(frozen=True)
class LimbRecord:
    """What the record says of a limb that a plan needs, read on one day."""

    limb: Limb
    day: date
    weight: Weight | None
    rigid: LimbFinding | None
    running: Prescription | None
    in_force: ReliefPlan | None
    policy: Policy
    foams: Mapping[str, Foam] = field(default_factory=dict)
    maps: Sequence[MeasuredMap] = ()
    outline: InsoleOutline | None = None
    foam_choices: Sequence[tuple[str, str]] = ()

    @property
    def insole(self) -> Insole | None:
        """The insole that the plan is drawn on: its own outline where one is kept for this device."""
        return drawn_insole(self.limb, self.outline)

    @property
    def is_rigid(self) -> bool:
        return self.rigid is not None and bool(self.rigid.rigid_deformity)

    @property
    def house_choice(self) -> CutChoice:
        """What the bench starts with: the site's margins and bevel, and the latest finding."""
        site = self.limb.person.site
        return CutChoice(
            float(site.margin_mm),
            float(max(site.distal_margin_mm, site.margin_mm)),
            float(site.bevel_deg),
            rigid_deformity=self.is_rigid,
            measured_map=self.maps[0].pk if self.maps else None,
        )

    def chosen_map(self, choice: CutChoice) -> MeasuredMap | None:
        """The measured map a choice names; refused when it does not stand for this foot."""
        if choice.measured_map is None:
            return None
        found = next((row for row in self.maps if row.pk == choice.measured_map), None)
        if found is None:
            raise Refused(
                "Pressure before the cut: that map is not on record for this foot, or was withdrawn.",
                field="baseline",
            )
        return found


@dataclass(frozen=True)
class Obstacle:
    """Why no plan can be made: a sentence, and the page on which to mend it (a route's name and its
    argument).
    """

    id: str
    message: str
    link_words: str = ""
    route: str = ""
    argument: int = 0


def limb_record(limb: Limb, day: date | None = None) -> LimbRecord:
    """Read what a plan of this limb is built from."""
    site = limb.person.site
    own = own_foams(site)
    in_force = (
        LimbPlan.objects.filter(limb=limb, plan__state=PlanState.SIGNED, ended_on=None)
        .select_related("plan")
        .order_by("-pk")
        .first()
    )
    return LimbRecord(
        limb=limb,
        day=day or timezone.localdate(),
        weight=limb.person.weights.newest_first().first(),
        rigid=limb.findings.filter(rigid_deformity__isnull=False).order_by("-found_on", "-pk").first(),
        running=limb.prescriptions.filter(stopped_on__isnull=True).select_related("relief_plan").first(),
        in_force=in_force.plan if in_force else None,
        policy=Policy(weight_threshold=float(site.weight_threshold_kg), weight_age=site.weight_fresh_days),
        foams=foams_known(own),
        maps=maps_of(limb),
        outline=outline_of_limb(limb),
        foam_choices=foam_choices(site, own),
    )


def obstacle(record: LimbRecord, lesions: Sequence[Lesion]) -> Obstacle | None:
    """The first reason why this limb gets no insole plan, if there is one; `lesions` are its open ones."""
    limb, person = record.limb, record.limb.person
    foot = f"{limb.get_side_display().lower()} foot"
    if person.state != PersonState.IN_CARE:
        return Obstacle("state", f"This patient is not in care here ({person.get_state_display().lower()}).")
    if limb.amputation == Amputation.MAJOR:
        return Obstacle("amputation", "This limb was amputated above the ankle: there is no insole to cut.")
    if record.running is not None and DEVICES[record.running.device_class].moulded_on:
        return Obstacle(
            "cast",
            f"The running device of this limb is a {DEVICES[record.running.device_class].label.lower()}. "
            "A cast has no insole, so there is nothing to cut: "
            "relieve the ulcer by padding and moulding when the cast is applied, by your own protocol.",
            "Open the device",
            "prescription",
            record.running.pk,
        )
    if not lesions:
        return Obstacle(
            "no_lesion",
            f"The {foot} has no open ulcer. A plan relieves an ulcer: record it first.",
            "Record an ulcer",
            "lesion_new",
            person.pk,
        )
    if not any(lesion.foot_site.insole_plan for lesion in lesions):
        return Obstacle(
            "not_plantar", f"No open ulcer of the {foot} bears on an insole, so no insole plan can help it."
        )
    if limb.foot_length_mm is None:
        return Obstacle(
            "foot_length",
            f"The length of the {foot} is not recorded. The insole is drawn from it: measure it and record "
            "it first.",
            "Record the foot's length",
            "limb_edit",
            limb.pk,
        )
    if record.weight is None:
        return Obstacle(
            WEIGHT_MISSING,
            "No body weight is recorded. It decides which layer is cut, so no plan is computed without it.",
            "Record the weight",
            "weight_new",
            person.pk,
        )
    return None


def relief_spec(record: LimbRecord, shapes: Sequence[LesionShape], choice: CutChoice) -> ReliefSpec:
    """The specification of the core, built from the record and from what stands on the bench."""
    if record.limb.foot_length_mm is None or record.weight is None:
        raise Refused("A plan needs the foot's length and the body weight on record.")
    if not shapes:
        raise Refused("Tick at least one ulcer for this plan.")
    house = record.limb.person.site.stack
    stack, measured = chosen_stack(house, choice), record.chosen_map(choice)
    refuse_other_device(measured, record.running)
    breadth, insole = record.limb.foot_breadth_mm, record.insole
    spec = ReliefSpec(
        side=record.limb.side,
        foot_length=float(record.limb.foot_length_mm),
        body_weight=float(record.weight.kg),
        lesions=tuple(shape.spec for shape in shapes),
        foot_width=None if breadth is None else float(breadth),
        stack=stack,
        margin=choice.margin_mm,
        distal_margin=choice.distal_margin_mm,
        bevel=choice.bevel_deg,
        margin_face=choice.margin_face,
        cut=choice.cut,
        rigid_deformity=_rigid(record, choice),
        insole_outline=None if insole is None or not insole.traced else insole.outline,
        pressure_map=None if measured is None or insole is None else laid_map(measured, insole),
        device=loaded_device(record.running),
    )
    return with_inlays(spec, choice.inlays, record.policy)


def remarks(record: LimbRecord, shapes: Sequence[LesionShape], choice: CutChoice) -> Remarks:
    """What the record adds to the plan: checks of its own, where values come from, departures from house
    rules.
    """
    weight = record.weight
    age = (record.day - weight.measured_on).days if weight else None
    checks = [weight_check(float(weight.kg) if weight else None, age, record.policy)]
    checks += [plantar_check(shape.lesion.label, shape.lesion.foot_site.surface) for shape in shapes]
    checks += [_place_check(shape) for shape in shapes]
    checks += _device_checks(record)
    checks += _rigid_checks(record, choice)
    reasons = [_rigid_reason(record, choice)]
    if weight is not None:
        reasons.append(
            f"Body weight: {weight.kg} kg of {day_words(weight.measured_on)}, "
            f"{weight.get_how_display().lower()}."
        )
    reasons += wear_reasons(record.limb.person.site.stack, choice)
    reasons += _baseline_reasons(record, choice)
    if record.outline is not None:
        reasons.append(
            f"The insole's own outline of {day_words(record.outline.taken_on)} "
            f"({record.outline.length_mm:.0f} mm long) is used, "
            f"{record.outline.get_how_display().lower()}."
        )
    reasons += load_reasons(record.running)
    if record.limb.amputation != Amputation.NONE:
        reasons.append(
            f"Previous amputation ({record.limb.get_amputation_display().lower()}): the outline is drawn for "
            "a whole foot; "
            "compare it with the real insole."
        )
    return Remarks(tuple(checks), tuple(reasons), tuple(_departures(record, choice)))


def _baseline_reasons(record: LimbRecord, choice: CutChoice) -> list[str]:
    """Which map the pressures start from, in words; that it is the reference map the core says itself."""
    measured = record.chosen_map(choice)
    if measured is not None:
        age = (record.day - measured.measured_on).days
        return [
            f"The measured map: {measured.get_kind_display().lower()}, of {day_words(measured.measured_on)} "
            f"({age} days "
            f"before), worn: {measured.worn}."
        ]
    if record.maps:
        return [f"A measured map of {day_words(record.maps[0].measured_on)} is on record and was not used."]
    return []


def _rigid(record: LimbRecord, choice: CutChoice) -> bool:
    return record.is_rigid if choice.rigid_deformity is None else choice.rigid_deformity


def _rigid_reason(record: LimbRecord, choice: CutChoice) -> str:
    words = "yes" if _rigid(record, choice) else "no"
    if record.rigid is None:
        return f"Rigid, bony deformity: {words}, as set on the bench; the record holds no finding."
    if _rigid(record, choice) != record.is_rigid:
        return (
            f"Rigid, bony deformity: {words}, as set on the bench, against the finding of "
            f"{day_words(record.rigid.found_on)}."
        )
    return f"Rigid, bony deformity: {words}, from the finding of {day_words(record.rigid.found_on)}."


def _rigid_checks(record: LimbRecord, choice: CutChoice) -> list[Check]:
    known = record.rigid is not None
    message = (
        "The record says whether the foot is rigid and deformed."
        if known
        else "Whether the foot is rigid and deformed was not looked at; it may ask for one layer more."
    )
    return [Check("rigid_deformity_known", "note", known, "known" if known else None, "known", message)]


def _place_check(shape: LesionShape) -> Check:
    label = shape.lesion.label
    message = (
        f"Ulcer {label} is placed from the name of the place: move it to the imprint."
        if shape.from_site_name
        else f"The place of ulcer {label}: {ImprintHow(shape.how).label.lower()}."
    )
    value = "name of the place" if shape.from_site_name else shape.how
    return Check("lesion_place", "warn", not shape.from_site_name, value, "imprint", message)


def _device_checks(record: LimbRecord) -> list[Check]:
    if record.running is None:
        message = (
            "No device is running on this limb; this plan joins the next one only when it is signed "
            "after that."
        )
        return [Check("device", "note", False, None, "a device with an insole", message)]
    words = record.running.get_device_class_display()
    taken = record.running.takes_insole
    message = f"{words} {'takes' if taken else 'does not take'} an insole."
    return [Check("device", "note", taken, words, "a device with an insole", message)]


def margin_departures(house: CutChoice, choice: CutChoice) -> list[str]:
    """Where a cut leaves the clinic's margins and bevel, in sentences."""
    found = []
    for words, given, own in (
        ("margin all round", choice.margin_mm, house.margin_mm),
        ("margin towards the toes", choice.distal_margin_mm, house.distal_margin_mm),
    ):
        if given < own:
            found.append(f"The {words} is {given:g} mm; the house rule is {own:g} mm.")
    if choice.bevel_deg != house.bevel_deg:
        found.append(f"The bevel is {choice.bevel_deg:g}°; the house rule is {house.bevel_deg:g}°.")
    return found


def _departures(record: LimbRecord, choice: CutChoice) -> list[str]:
    found = margin_departures(record.house_choice, choice)
    found += stack_departures(record.limb.person.site.stack, choice)
    if record.rigid is not None and _rigid(record, choice) != record.is_rigid:
        found.append(_rigid_reason(record, choice))
    return found
