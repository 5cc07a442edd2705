"""Routes of this room."""

from django.urls import path

from clinic.record.views import drafts

urlpatterns = [
    path("draft-key/", drafts.draft_key, name="draft_key"),
]
