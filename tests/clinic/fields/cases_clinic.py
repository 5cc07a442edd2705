"""What is kept of the clinic itself, sent filled: house rules, foams, reasons, accounts, reports, peer
rounds.
"""

from datetime import timedelta

from django.utils import timezone

from clinic.accounts.forms.accounts import AccountForm, InviteForm
from clinic.audit.forms.peer import PeerDrawForm, PeerReadForm
from clinic.audit.forms.saved_reports import SavedReportForm
from clinic.guidelines.devices import REFERRALS
from clinic.guidelines.fitting import FITTING_LISTS
from clinic.rules.forms.foams import FoamForm
from clinic.rules.forms.house_rules import HouseRulesForm
from clinic.rules.forms.reasons import ReasonChangeForm, ReasonForm
from clinic.rules.reads.house_rules import seen_number
from tests import factories, factories_care
from tests.clinic.fields.filled import Kept, Sent, day, filled


@filled("foams", FoamForm, by="manager")
def a_foam(site, by):
    stress = {10: 34.29, 25: 109.09, 40: 240.0, 50: 400.0}
    data = {
        "label": "Sheet of ours",
        "hardness": "30 Shore A",
        "source": "own press",
        "measured_on": day(-1),
        **{f"stress_{strain}": str(kpa) for strain, kpa in stress.items()},
    }
    kept = {
        f"stress_{strain}": (f"ClinicFoam.points.{n}", [strain / 100, kpa])
        for n, (strain, kpa) in enumerate(stress.items())
    }
    return Sent({}, data, {FoamForm: Kept("ClinicFoam", kept)})


@filled("reasons", ReasonForm, by="manager")
def a_reason(site, by):
    kept = Kept("SiteReason", {"place": ("SiteReason.counts_as", "broken")})
    return Sent({}, {"words": "Strap torn", "place": "stop.broken"}, {ReasonForm: kept})


@filled("reason_edit", ReasonChangeForm, by="manager")
def a_reason_reworded(site, by):
    row = factories.site_reason(at=site)
    data = {"seen": str(row.version), "words": "Strap torn"}
    kept = Kept("SiteReason", {"in_use": ("SiteReason.retired_at", lambda at: at is not None)})
    return Sent({"kind": "stop", "key": f"own-{row.pk}"}, data, {ReasonChangeForm: kept})


ACCOUNT = {"first_name": "Ida", "last_name": "Bergholt", "role": "podiatrist", "registered_as": "nurse"}


@filled("account_new", InviteForm, by="manager")
def an_invitation(site, by):
    data = {**ACCOUNT, "username": "ida.b", "sites": [str(site.pk)]}
    return Sent({}, data, {InviteForm: Kept("User", {"sites": ("User.sites", [site.pk])})})


@filled("account", AccountForm, by="manager")
def an_account_changed(site, by):
    here = factories.site()
    by.sites.add(here)
    other = factories.user("staff", at=site)
    data = {**ACCOUNT, "sites": [str(here.pk)]}
    kept = Kept("User", {"active": ("User.is_active", False), "sites": ("User.sites", [here.pk])})
    return Sent({"account": other.pk}, data, {AccountForm: kept}, pressed={"act": "change"})


@filled("account", AccountForm, by="manager")
def an_account_switched_off_with_open_work(site, by):
    other, heir = factories.user("staff", at=site), factories.user("podiatrist", at=site)
    there = factories.site()
    by.sites.add(there)
    other.sites.add(there)
    factories_care.result(of=factories.person(at=site), owner=other)
    data = {**ACCOUNT, "sites": [str(site.pk)], "hand_to": str(heir.pk)}
    places = {
        "active": ("User.is_active", False),
        "sites": ("User.sites", [site.pk]),
        "hand_to": ("Result.owner", heir.pk),
    }
    return Sent({"account": other.pk}, data, {AccountForm: Kept("User", places)}, pressed={"act": "change"})


@filled("audit_reports", SavedReportForm, by="manager")
def a_report(site, by):
    data = {"name": "Every quarter", "form": "pdf", "days": "91", "device_class": "toe_spacer"}
    kept = Kept("SavedReport", {"deidentified": ("SavedReport.deidentified", False)})
    return Sent({}, data, {SavedReportForm: kept})


@filled("peer_new", PeerDrawForm, by="manager")
def a_draw(site, by):
    limb = factories.limb(of=factories.person(at=site))
    for agrees in (True, False):
        factories.prescription(
            of=limb,
            agrees=agrees,
            departure_reason="" if agrees else "other",
            stopped_on=timezone.localdate(),
            stop_reason="changed",
            prescribed_on=timezone.localdate() - timedelta(days=9),
        )
    data = {"since": day(-90), "until": day(-1), "size": "3", "seed": "77"}
    return Sent({}, data, {PeerDrawForm: Kept("PeerRound")})


@filled("peer_case", PeerReadForm)
def an_opinion(site, by):
    drawn = factories.peer_case(of=factories.prescription(of=factories.limb(of=factories.person(at=site))))
    data = {"opinion": "not_justified", "words": "ischaemia overlooked"}
    return Sent({"case": drawn.pk}, data, {PeerReadForm: Kept("PeerReading")})


RULES = {
    "telephone_emergency": "119",
    "telephone_immediate_in_hours": "000 7001",
    "telephone_immediate_out_of_hours": "000 7002",
    "telephone_one_working_day_in_hours": "000 7003",
    "telephone_one_working_day_out_of_hours": "000 7004",
    "telephone_planned_in_hours": "000 7005",
    "telephone_planned_out_of_hours": "000 7006",
    "hours_start": "08:15",
    "hours_end": "16:45",
    "closed_weekdays": ["2", "6"],
    "holidays": "2031-12-25",
    "protocol_text": "ours",
    "escalation_text": "call the ward",
    "opening_text": "cut at the front",
    "attempts_before_escalation": "3",
    "planned_reach_days": "9",
    "question_area_ratio": "3.5",
    "question_small_area_ratio": "6",
    "question_weight_percent": "15",
    "weight_threshold_kg": "95",
    "margin_mm": "6",
    "distal_margin_mm": "11",
    "bevel_deg": "50",
    "weight_fresh_days": "40",
    "perfusion_fresh_days": "80",
    "falls_fresh_days": "70",
    "sealed_first_days": "3",
    "sealed_days": "6",
    "first_change_hours": "48",
    "confirm_closure_days": "21",
    "reopen_days": "30",
    "tcpo2_urgent_mmhg": "30",
    "perfusion_healing_days": "150",
    "infection_look_days": "5",
    "looks_apart_days": "3",
    "toe_kit": "on",
    "erythema_2_cm": "mild",
    "second_signature": "on",
}
STACK = (("cover", "medium", 4), ("middle_1", "soft", 7), ("middle_2", "soft", 2), ("base", "medium", 5))


@filled("house_rules", HouseRulesForm, by="manager")
def every_house_rule(site, by):
    urgencies = {f"urgency_{name}": "immediate" for name in REFERRALS}
    fitting = {f"fitting_{key}": f"step of {key}" for key in FITTING_LISTS}
    kept = {
        **{f"urgency_{name}": (f"Site.urgencies.{name}", "immediate") for name in REFERRALS},
        **{f"fitting_{key}": (f"Site.fitting_steps.{key}.0", f"step of {key}") for key in FITTING_LISTS},
        **{f"{slot}_foam": (f"Site.stack.{n}.foam", foam) for n, (slot, foam, _) in enumerate(STACK)},
        **{f"{slot}_mm": (f"Site.stack.{n}.thickness_mm", mm) for n, (slot, _, mm) in enumerate(STACK)},
    }
    stack = {f"{slot}_foam": foam for slot, foam, _ in STACK} | {
        f"{slot}_mm": str(mm) for slot, _, mm in STACK
    }
    data = {**RULES, **urgencies, **fitting, **stack, "seen": str(seen_number(site))}
    return Sent({}, data, {HouseRulesForm: Kept("Site", kept)})
