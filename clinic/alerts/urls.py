"""Routes of this room."""

from django.urls import path

from clinic.alerts.views import (
    antibiotics,
    calls,
    contacts,
    flags,
    flags_back,
    owners,
    referrals,
    results,
    taking_back,
)

urlpatterns = [
    path("calls/new/", calls.call_of, name="call_of"),
    path("people/<int:person>/calls/new/", calls.call_new, name="call_new"),
    path("calls/<int:call>/", calls.call_answer, name="call_answer"),
    path("calls/<int:call>/take-back/", taking_back.call_answer_take_back, name="call_answer_take_back"),
    path("contacts/<int:contact>/take-back/", taking_back.contact_take_back, name="contact_take_back"),
    path("people/<int:person>/contacts/new/", contacts.contact_new, name="contact_new"),
    path("people/<int:person>/referrals/new/", referrals.referral_new, name="referral_new"),
    path("limbs/<int:limb>/dangers/", owners.dangers, name="dangers"),
    path("dangers/<int:owner>/take-back/", taking_back.danger_take_back, name="danger_take_back"),
    path(
        "flags/<int:flag>/answer/take-back/",
        flags_back.flag_answer_take_back,
        name="flag_answer_take_back",
    ),
    path("flags/<int:flag>/answer/", flags.flag_answer, name="flag_answer"),
    path("referrals/<int:referral>/", referrals.referral, name="referral"),
    path(
        "referrals/<int:referral>/take-back/",
        taking_back.referral_follow_take_back,
        name="referral_follow_take_back",
    ),
    path("people/<int:person>/results/new/", results.result_new, name="result_new"),
    path("results/<int:result>/", results.result, name="result"),
    path("results/<int:result>/edit/", results.result_edit, name="result_edit"),
    path("results/<int:result>/report/", results.result_report, name="result_report"),
    path("results/<int:result>/seen/", results.result_seen, name="result_seen"),
    path(
        "results/<int:result>/seen/take-back/",
        taking_back.result_seen_take_back,
        name="result_seen_take_back",
    ),
    path("results/<int:result>/withdraw/", results.result_withdraw, name="result_withdraw"),
    path("lesions/<int:lesion>/antibiotics/new/", antibiotics.antibiotic_new, name="antibiotic_new"),
    path("antibiotics/<int:course>/", antibiotics.antibiotic, name="antibiotic"),
    path("antibiotics/<int:course>/edit/", antibiotics.antibiotic_edit, name="antibiotic_edit"),
    path("antibiotics/<int:course>/stop/", antibiotics.antibiotic_stop, name="antibiotic_stop"),
    path(
        "antibiotics/<int:course>/take-back/",
        taking_back.antibiotic_step_take_back,
        name="antibiotic_step_take_back",
    ),
]
