"""Routes of this room."""

from django.urls import path

from clinic.rules.views import foams, house_rules, reasons

urlpatterns = [
    path("house-rules/", house_rules.house_rules, name="house_rules"),
    path("house-rules/foams/", foams.foams, name="foams"),
    path("house-rules/foams/<int:site_foam>/retire/", foams.foam_retire, name="foam_retire"),
    path("settings/reasons/", reasons.reasons, name="reasons"),
    path("settings/reasons/<slug:kind>/<slug:key>/", reasons.reason_edit, name="reason_edit"),
]
