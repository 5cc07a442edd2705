"""Routes of this room."""

from django.urls import path

from clinic.case.views import history, lesions
from clinic.case.views import person as person_page

urlpatterns = [
    path("people/<int:person>/", person_page.person, name="person"),
    path("lesions/<int:lesion>/", lesions.lesion, name="lesion"),
    path("lesions/<int:lesion>/events/new/", lesions.event_new, name="event_new"),
    path("history/<str:noun>/<int:pk>/", history.history, name="history"),
]
