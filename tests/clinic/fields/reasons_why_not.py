"""Why a field, a form, or a form at one route leaves nothing in the record: one line each, true or to be
removed.
"""

from clinic.accounts.forms import accounts
from clinic.alerts.forms import calls
from clinic.audit.forms import audit, outcomes
from clinic.capture.forms import trace
from clinic.curves import forms as comparing
from clinic.devices.forms import prescriptions
from clinic.lesions.forms import closure
from clinic.people.forms import merging, transfers
from clinic.relief.forms import layers, relief
from clinic.rules.forms import house_rules, reasons
from clinic.visits.forms import finishing, measurement, visits
from clinic.visits.forms import taking_back as moving
from clinic.week import forms as review

#: Forms that ask what to show, or who somebody is, and keep nothing of it.
NO_RECORD = {
    accounts.LinkPasswordForm: "a password is kept as a hash of the account",
    accounts.OwnPasswordForm: "a password is kept as a hash of the account",
    accounts.CodeForm: "a code proves who somebody is",
    accounts.EnrolStartForm: "a password proves who somebody is",
    accounts.EnrolForm: "a code and a password prove who somebody is",
    accounts.EndSignInsForm: "a password proves who somebody is",
    audit.AuditForm: "which period to count",
    audit.CaseCursor: "where the page before ended",
    audit.ChangesForm: "which changes to read",
    moving.MoveToForm: "whose visit it was, for the next page",
    calls.CallOfForm: "whose call it is, for the next page",
    comparing.CompareForm: "what to compare with",
    outcomes.OutcomesForm: "which ulcers to count",
    prescriptions.WhatIfForm: "findings tried otherwise, never kept",
    review.ReviewFilterForm: "which part of the list to show",
}

#: Fields whatever the form.
ANYWHERE = {
    "version": "says which version of the row was read",
}

#: Fields of a form, with `(route, form)` where the reason holds at one route only.
FIELDS = {
    moving.MoveForm: {"kept_because": "stands in the audit row of the record that keeps it, under its key"},
    closure.CloseForm: {"device_stays": "a promise without which the closure is not taken"},
    accounts.InviteForm: {
        "active": "an invited account is on as soon as its link is used",
        "hand_to": "a new account has no open work",
    },
    merging.MergeForm: {"mark": "says which state of both records was read"},
    reasons.ReasonChangeForm: {"seen": "says which version of the row was read"},
    house_rules.HouseRulesForm: {"seen": "says which version of the rules was read"},
    prescriptions.ChoiceForm: {"seen": "says which advice was on the screen"},
    ("visit_correct", measurement.MeasurementForm): {
        "photo": "a correction takes no new picture",
        "unchanged": "each stored finding is shown and retyped",
        "nothing_found": "each stored finding is shown and retyped",
    },
    visits.MissedForm: {"no_next_because": "a missed visit tells why, and its patient stands on Today"},
    visits.CorrectionForm: {
        "submission_key": "the visit is stored already",
        "red_flags": "answered on their own page, with a life of their own",
        "flag_answer": "answered on the flag's own page",
        "flag_answer_note": "answered on the flag's own page",
        "flag_under": "answered on the flag's own page",
        "flag_until": "answered on the flag's own page",
        "next_in": "a stored date is shown and retyped",
        "asked_none": "each stored answer is shown and retyped",
        "looked_clear": "each stored answer is shown and retyped",
        "device_opened": "an opening has its own page",
    },
    visits.MissedCorrectionForm: {
        "submission_key": "the visit is stored already",
        "next_in": "a stored date is shown and retyped",
        "no_next_because": "a missed visit tells why, and its patient stands on Today",
    },
    finishing.FinishForm: {
        "submission_key": "the visit is stored already",
        "visited_on": "the visit has its day; the field only carries it for the week's date",
    },
}

#: Fields that have no control on the page as it opens.
ASKED_LATER = {
    "side_confirmed": "asked after a doubt about the side of an imprint",
}

#: Routes that read a form and keep nothing.
NOT_HERE = {
    ("bench", relief.SignForm): "a draft leads to the plan's page, which asks for the signature",
    ("bench_preview", relief.SignForm): "shows the plan of what is typed so far",
    ("bench_preview", relief.BenchCutForm): "shows the plan of what is typed so far",
    ("bench_preview", layers.LayerForm): "shows the plan of what is typed so far",
    ("bench_preview", layers.InlayForm): "shows the plan of what is typed so far",
    ("bench_preview", relief.LesionShapeForm): "shows the plan of what is typed so far",
    ("transfer_answer", transfers.SendBackForm): "stands empty beside the answer",
    ("transfer_undo", transfers.AcceptForm): "stands empty beside the sending back",
    ("transfer_undo", transfers.DeclineForm): "stands empty beside the sending back",
    ("visit_check", measurement.MeasurementForm): "shows the area of what is typed so far",
    ("photo_scale_check", trace.ScaleForm): "shows what the marks would give",
    ("trace_check", trace.TraceForm): "shows the area of what is drawn so far",
}


def reason(route, form, name):
    """Why this field of this form stands nowhere after it was sent at this route; empty where it should."""
    for told in (FIELDS.get((route, form), {}), FIELDS.get(form, {}), ANYWHERE):
        if name in told:
            return told[name]
    return ""
