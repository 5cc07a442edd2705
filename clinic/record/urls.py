"""Routes of this room."""

from django.urls import path

from clinic.record.views import drafts, words

urlpatterns = [
    path("draft-key/", drafts.draft_key, name="draft_key"),
    path("words/", words.words, name="words"),
]
