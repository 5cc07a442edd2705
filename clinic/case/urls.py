"""Routes of this room."""

from django.urls import path

from clinic.case.views import foot_status, history, in_error, lesions, settling
from clinic.case.views import person as person_page

urlpatterns = [
    path("people/<int:person>/", person_page.person, name="person"),
    path("people/<int:person>/open/", settling.settle, name="settle"),
    path("left/", settling.left_open, name="left_open"),
    path("lesions/<int:lesion>/", lesions.lesion, name="lesion"),
    path("lesions/<int:lesion>/in-error/", in_error.lesion_in_error, name="lesion_in_error"),
    path("lesions/<int:lesion>/events/new/", lesions.event_new, name="event_new"),
    path("limbs/<int:limb>/status/", foot_status.foot_status, name="foot_status"),
    path("history/<str:noun>/<int:pk>/", history.history, name="history"),
]
