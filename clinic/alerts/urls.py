"""Routes of this room."""

from django.urls import path

from clinic.alerts.views import calls, contacts, flags, owners, referrals

urlpatterns = [
    path("calls/new/", calls.call_of, name="call_of"),
    path("people/<int:person>/calls/new/", calls.call_new, name="call_new"),
    path("calls/<int:call>/", calls.call_answer, name="call_answer"),
    path("people/<int:person>/contacts/new/", contacts.contact_new, name="contact_new"),
    path("people/<int:person>/referrals/new/", referrals.referral_new, name="referral_new"),
    path("limbs/<int:limb>/dangers/", owners.dangers, name="dangers"),
    path("flags/<int:flag>/answer/", flags.flag_answer, name="flag_answer"),
    path("referrals/<int:referral>/", referrals.referral, name="referral"),
]
