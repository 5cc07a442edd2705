"""The clinic's routes, grouped by the noun they act on."""

from django.urls import path

from clinic.accounts.views import accounts, breakglass, erasure, health, problems, sessions, settings_page
from clinic.alerts.views import contacts, flags, referrals
from clinic.audit.views import audit, completeness, outcomes, peer
from clinic.audit.views import exports as audit_exports
from clinic.capture.views import photos, repeat, trace
from clinic.case.views import history, inquiries, lesions
from clinic.curves import views as curves
from clinic.devices.views import fittings, opening_cards, prescriptions
from clinic.lesions.views import closure, looks
from clinic.lesions.views import register as lesion_register
from clinic.people.views import limbs, merging, people, transfers
from clinic.record.views import drafts
from clinic.relief.views import imprints, measured_maps, plan_life, relief
from clinic.rules.views import foams, house_rules, reasons
from clinic.visits.views import finishing, visits
from clinic.week.views import home, review, today

home_urls = [
    path("", home.home, name="home"),
    path("today/", today.today, name="today"),
    path("today/preparation/", today.clinic_preparation, name="clinic_preparation"),
    path("review/", review.review, name="review"),
    path("review/forecasts/", outcomes.forecasts, name="review_forecasts"),
    path("review/lesions/<int:lesion>/note/", review.review_note, name="review_note"),
    path("outcomes/", outcomes.outcomes, name="outcomes"),
    path("outcomes/chart.svg", outcomes.outcomes_chart, name="outcomes_chart"),
    path("house-rules/", house_rules.house_rules, name="house_rules"),
    path("house-rules/foams/", foams.foams, name="foams"),
    path("house-rules/foams/<int:site_foam>/retire/", foams.foam_retire, name="foam_retire"),
]

people_urls = [
    path("people/", people.people, name="people"),
    path("people/new/", people.person_new, name="person_new"),
    path("people/duplicates/", merging.duplicates, name="duplicates"),
    path("people/transfers/", transfers.transfers, name="transfers"),
    path("people/<int:person>/", people.person, name="person"),
    path("people/<int:person>/curves/", curves.person_curves_page, name="person_curves"),
    path("people/<int:person>/curves.svg", curves.person_curves_chart, name="person_curves_chart"),
    path("people/<int:person>/edit/", people.person_edit, name="person_edit"),
    path("people/<int:person>/state/", people.person_state, name="person_state"),
    path("people/<int:person>/weights/new/", people.weight_new, name="weight_new"),
    path("people/<int:person>/circumstances/new/", people.circumstances_new, name="circumstances_new"),
    path("people/<int:person>/photo-consent/", photos.consent, name="photo_consent"),
    path("people/<int:person>/lesions/new/", lesion_register.lesion_new, name="lesion_new"),
    path("people/<int:person>/visits/new/", visits.visit_new, name="visit_new"),
    path("people/<int:person>/visits/check/", visits.visit_check, name="visit_check"),
    path("people/<int:person>/visits/missed/", visits.visit_missed, name="visit_missed"),
    path("people/<int:person>/contacts/new/", contacts.contact_new, name="contact_new"),
    path("people/<int:person>/referrals/new/", referrals.referral_new, name="referral_new"),
]

merge_urls = [
    path("people/<int:person>/merge/<int:other>/", merging.merge_look, name="merge_look"),
    path("people/<int:person>/merge/<int:other>/do/", merging.merge_do, name="merge_do"),
    path("people/<int:person>/apart/<int:other>/", merging.people_apart, name="people_apart"),
    path("merges/<int:merge>/undo/", merging.merge_undo, name="merge_undo"),
    path("people/<int:person>/transfer/", transfers.transfer_new, name="transfer_new"),
    path("transfers/<int:transfer>/", transfers.transfer, name="transfer"),
    path("transfers/<int:transfer>/answer/", transfers.transfer_answer, name="transfer_answer"),
    path("transfers/<int:transfer>/withdraw/", transfers.transfer_withdraw_view, name="transfer_withdraw"),
    path("transfers/<int:transfer>/undo/", transfers.transfer_undo, name="transfer_undo"),
]

limb_urls = [
    path("limbs/<int:limb>/edit/", limbs.limb_edit, name="limb_edit"),
    path("limbs/<int:limb>/findings/new/", limbs.finding_new, name="finding_new"),
    path("limbs/<int:limb>/prescribe/", prescriptions.prescription_new, name="prescription_new"),
    path("limbs/<int:limb>/decisions/", prescriptions.limb_decisions, name="limb_decisions"),
    path("limbs/<int:limb>/bench/", relief.bench, name="bench"),
    path("limbs/<int:limb>/bench/preview/", relief.bench_preview, name="bench_preview"),
    path("limbs/<int:limb>/maps/", measured_maps.measured_maps, name="measured_maps"),
    path("maps/<int:measured_map>/", measured_maps.measured_map, name="measured_map"),
    path("maps/<int:measured_map>/withdraw/", measured_maps.map_withdraw, name="map_withdraw"),
]

lesion_urls = [
    path("lesions/<int:lesion>/", lesions.lesion, name="lesion"),
    path("lesions/<int:lesion>/edit/", lesion_register.lesion_edit, name="lesion_edit"),
    path("lesions/<int:lesion>/chart.svg", curves.lesion_chart, name="lesion_chart"),
    path("lesions/<int:lesion>/compare/", curves.lesion_compare, name="lesion_compare"),
    path("lesions/<int:lesion>/compare.svg", curves.lesion_compare_chart, name="lesion_compare_chart"),
    path("lesions/<int:lesion>/events/new/", lesions.event_new, name="event_new"),
    path("lesions/<int:lesion>/photos/new/", photos.photo_new, name="photo_new"),
    path("lesions/<int:lesion>/close/", closure.lesion_close, name="lesion_close"),
    path("lesions/<int:lesion>/confirm/", closure.lesion_confirm, name="lesion_confirm"),
    path("lesions/<int:lesion>/reopen/", closure.lesion_reopen, name="lesion_reopen"),
    path("lesions/<int:lesion>/end/", closure.lesion_end, name="lesion_end"),
    path("lesions/<int:lesion>/look/", looks.look_ask, name="look_ask"),
    path("lesions/<int:lesion>/why-not-healing/", inquiries.why_not_healing, name="why_not_healing"),
    path("looks/<int:look>/answer/", looks.look_answer, name="look_answer"),
    path("looks/<int:look>/read/", looks.look_read, name="look_read"),
    path("photos/<int:photo>/file/", photos.photo_file, name="photo_file"),
]

capture_urls = [
    path("photos/<int:photo>/thumb/", photos.photo_thumb, name="photo_thumb"),
    path("photos/<int:photo>/scale/", trace.photo_scale, name="photo_scale"),
    path("photos/<int:photo>/scale/check/", trace.photo_scale_check, name="photo_scale_check"),
    path("scales/<int:scale>/picture/", trace.scale_picture, name="scale_picture"),
    path("scales/<int:scale>/trace/", trace.trace_new, name="trace_new"),
    path("scales/<int:scale>/trace/check/", trace.trace_check, name="trace_check"),
    path("scales/<int:scale>/imprint/", imprints.imprint_place, name="imprint_place"),
    path("lesions/<int:lesion>/imprint/", imprints.imprint_new, name="imprint_new"),
    path("lesions/<int:lesion>/outlines/", repeat.lesion_outlines, name="lesion_outlines"),
    path("repeatability/", repeat.repeatability, name="repeatability"),
    path("reference-sheet.pdf", trace.reference_sheet, name="reference_sheet"),
    path("draft-key/", drafts.draft_key, name="draft_key"),
]

visit_urls = [
    path("visits/<int:visit>/", visits.visit, name="visit"),
    path("visits/<int:visit>/finish/", finishing.visit_finish, name="visit_finish"),
    path("visits/<int:visit>/correct/", visits.visit_correct, name="visit_correct"),
    path("visits/<int:visit>/in-error/", visits.visit_in_error, name="visit_in_error"),
    path("flags/<int:flag>/answer/", flags.flag_answer, name="flag_answer"),
    path("referrals/<int:referral>/", referrals.referral, name="referral"),
]

prescription_urls = [
    path("prescriptions/<int:prescription>/", prescriptions.prescription, name="prescription"),
    path("prescriptions/<int:prescription>/record/", prescriptions.decision_print, name="decision_print"),
    path(
        "prescriptions/<int:prescription>/second/",
        prescriptions.prescription_second,
        name="prescription_second",
    ),
    path("prescriptions/<int:prescription>/fit/", fittings.prescription_fit, name="prescription_fit"),
    path("prescriptions/<int:prescription>/advice-sheet/", fittings.advice_print, name="advice_print"),
    path("prescriptions/<int:prescription>/card/", opening_cards.card_new, name="card_new"),
    path("cards/<int:card>/", opening_cards.opening_card, name="opening_card"),
    path("prescriptions/<int:prescription>/open/", prescriptions.prescription_open, name="prescription_open"),
    path("prescriptions/<int:prescription>/stop/", prescriptions.prescription_stop, name="prescription_stop"),
]

plan_urls = [
    path("plans/predictions/", plan_life.predictions, name="predictions"),
    path("plans/<str:code>/", relief.plan, name="plan"),
    path("plans/flags/<int:plan_flag>/", plan_life.plan_flag_answer, name="plan_flag_answer"),
    path("plans/<str:code>/cut/", plan_life.plan_cut, name="plan_cut"),
    path("plans/<str:code>/fit/", plan_life.plan_fit, name="plan_fit"),
    path("plans/<str:code>/contact/", plan_life.plan_contact, name="plan_contact"),
    path("plans/<str:code>/measured/", plan_life.plan_measured, name="plan_measured"),
    path("plans/<str:code>/sign/", relief.plan_sign, name="plan_sign"),
    path("plans/<str:code>/sheet-<str:paper>.pdf", relief.plan_pdf, name="plan_pdf"),
    path("plans/<str:code>/sheet.svg", relief.plan_svg, name="plan_svg"),
    path("plans/<str:code>/sheet.dxf", relief.plan_dxf, name="plan_dxf"),
]

audit_urls = [
    path("audit/", audit.audit, name="audit"),
    path("audit/cases/", audit.audit_cases, name="audit_cases"),
    path("audit/cases.csv", audit_exports.audit_csv, name="audit_csv"),
    path("audit/cases.json", audit_exports.audit_json, name="audit_json"),
    path("audit/figures.json", audit_exports.audit_report_json, name="audit_report_json"),
    path("audit/figures.pdf", audit_exports.audit_report_pdf, name="audit_report_pdf"),
    path("audit/reports/", audit_exports.audit_reports, name="audit_reports"),
    path("audit/reports/<int:report>/run/", audit_exports.audit_report_run, name="audit_report_run"),
    path("audit/reports/<int:report>/stop/", audit_exports.audit_report_stop, name="audit_report_stop"),
    path("audit/completeness/", completeness.audit_completeness, name="audit_completeness"),
    path("audit/completeness/list/", completeness.audit_gap, name="audit_gap"),
    path("audit/mine/", audit.audit_mine, name="audit_mine"),
    path("audit/sheets/<int:prescription>/", audit.case_sheet, name="case_sheet"),
    path("audit/peer/", peer.peer_rounds, name="peer_rounds"),
    path("audit/peer/new/", peer.peer_new, name="peer_new"),
    path("audit/peer/<int:round>/", peer.peer_round, name="peer_round"),
    path("audit/peer/choices/<int:case>/", peer.peer_case, name="peer_case"),
    path("audit/changes/", audit.audit_changes, name="audit_changes"),
]

account_urls = [
    path("sign-in/", sessions.sign_in, name="login"),
    path("switch-user/", sessions.switch_user, name="switch_user"),
    path("second-factor/", sessions.second_factor, name="second_factor"),
    path("second-factor/enrol/", sessions.second_factor_enrol, name="second_factor_enrol"),
    path("me/", sessions.me, name="me"),
    path("me/sign-ins/end/", sessions.sign_out_other, name="sign_out_other"),
    path("account-link/<str:token>/", accounts.account_link, name="account_link"),
    path("accounts/", accounts.accounts, name="accounts"),
    path("accounts/new/", accounts.account_new, name="account_new"),
    path("accounts/<int:account>/", accounts.account, name="account"),
    path("settings/", settings_page.settings_page, name="settings"),
    path("settings/reasons/", reasons.reasons, name="reasons"),
    path("settings/reasons/<slug:kind>/<slug:key>/", reasons.reason_edit, name="reason_edit"),
]

trust_urls = [
    path("history/<str:noun>/<int:pk>/", history.history, name="history"),
    path("break-glass/", breakglass.break_glass, name="break_glass"),
    path("break-glass/<int:glass>/seen/", breakglass.glass_noticed, name="glass_noticed"),
    path("people/<int:person>/rights/", erasure.person_rights, name="person_rights"),
    path("people/<int:person>/rights/copy/", erasure.person_copy, name="person_copy"),
    path("problems/new/", problems.problem_new, name="problem_new"),
    path("problems/<int:problem>/settled/", problems.problem_settled, name="problem_settled"),
    path("health/", health.health, name="health"),
]

urlpatterns = [
    *home_urls,
    *people_urls,
    *merge_urls,
    *limb_urls,
    *lesion_urls,
    *capture_urls,
    *visit_urls,
    *prescription_urls,
    *plan_urls,
    *audit_urls,
    *account_urls,
    *trust_urls,
]
