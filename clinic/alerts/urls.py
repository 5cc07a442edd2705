"""Routes of this room."""

from django.urls import path

from clinic.alerts.views import contacts, flags, referrals

urlpatterns = [
    path("people/<int:person>/contacts/new/", contacts.contact_new, name="contact_new"),
    path("people/<int:person>/referrals/new/", referrals.referral_new, name="referral_new"),
    path("flags/<int:flag>/answer/", flags.flag_answer, name="flag_answer"),
    path("referrals/<int:referral>/", referrals.referral, name="referral"),
]
