"""The clinic's routes, grouped by the noun they act on."""

from django.urls import path

from clinic.views import (
    audit,
    closure,
    contacts,
    flags,
    home,
    house_rules,
    lesion_register,
    lesions,
    limbs,
    people,
    photos,
    prescriptions,
    referrals,
    relief,
    review,
    today,
    visits,
)

home_urls = [
    path("", home.home, name="home"),
    path("today/", today.today, name="today"),
    path("review/", review.review, name="review"),
    path("house-rules/", house_rules.house_rules, name="house_rules"),
]

people_urls = [
    path("people/", people.people, name="people"),
    path("people/new/", people.person_new, name="person_new"),
    path("people/<int:person>/", people.person, name="person"),
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

limb_urls = [
    path("limbs/<int:limb>/edit/", limbs.limb_edit, name="limb_edit"),
    path("limbs/<int:limb>/findings/new/", limbs.finding_new, name="finding_new"),
    path("limbs/<int:limb>/prescribe/", prescriptions.prescription_new, name="prescription_new"),
    path("limbs/<int:limb>/bench/", relief.bench, name="bench"),
    path("limbs/<int:limb>/bench/preview/", relief.bench_preview, name="bench_preview"),
]

lesion_urls = [
    path("lesions/<int:lesion>/", lesions.lesion, name="lesion"),
    path("lesions/<int:lesion>/edit/", lesion_register.lesion_edit, name="lesion_edit"),
    path("lesions/<int:lesion>/chart.svg", lesions.lesion_chart, name="lesion_chart"),
    path("lesions/<int:lesion>/events/new/", lesions.event_new, name="event_new"),
    path("lesions/<int:lesion>/photos/new/", photos.photo_new, name="photo_new"),
    path("lesions/<int:lesion>/close/", closure.lesion_close, name="lesion_close"),
    path("lesions/<int:lesion>/confirm/", closure.lesion_confirm, name="lesion_confirm"),
    path("lesions/<int:lesion>/reopen/", closure.lesion_reopen, name="lesion_reopen"),
    path("lesions/<int:lesion>/end/", closure.lesion_end, name="lesion_end"),
    path("photos/<int:photo>/file/", photos.photo_file, name="photo_file"),
]

visit_urls = [
    path("visits/<int:visit>/", visits.visit, name="visit"),
    path("visits/<int:visit>/correct/", visits.visit_correct, name="visit_correct"),
    path("visits/<int:visit>/in-error/", visits.visit_in_error, name="visit_in_error"),
    path("flags/<int:flag>/answer/", flags.flag_answer, name="flag_answer"),
    path("referrals/<int:referral>/", referrals.referral, name="referral"),
]

prescription_urls = [
    path("prescriptions/<int:prescription>/", prescriptions.prescription, name="prescription"),
    path("prescriptions/<int:prescription>/fit/", prescriptions.prescription_fit, name="prescription_fit"),
    path("prescriptions/<int:prescription>/open/", prescriptions.prescription_open, name="prescription_open"),
    path("prescriptions/<int:prescription>/stop/", prescriptions.prescription_stop, name="prescription_stop"),
]

plan_urls = [
    path("plans/<str:code>/", relief.plan, name="plan"),
    path("plans/<str:code>/sign/", relief.plan_sign, name="plan_sign"),
    path("plans/<str:code>/sheet-<str:paper>.pdf", relief.plan_pdf, name="plan_pdf"),
    path("plans/<str:code>/sheet.svg", relief.plan_svg, name="plan_svg"),
    path("plans/<str:code>/sheet.dxf", relief.plan_dxf, name="plan_dxf"),
]

audit_urls = [
    path("audit/", audit.audit, name="audit"),
    path("audit/cases/", audit.audit_cases, name="audit_cases"),
    path("audit/cases.csv", audit.audit_csv, name="audit_csv"),
    path("audit/changes/", audit.audit_changes, name="audit_changes"),
]

urlpatterns = [
    *home_urls,
    *people_urls,
    *limb_urls,
    *lesion_urls,
    *visit_urls,
    *prescription_urls,
    *plan_urls,
    *audit_urls,
]
