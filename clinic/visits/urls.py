"""Routes of this room."""

from django.urls import path

from clinic.visits.views import finishing, taking_back, visits

urlpatterns = [
    path("people/<int:person>/visits/new/", visits.visit_new, name="visit_new"),
    path("people/<int:person>/visits/check/", visits.visit_check, name="visit_check"),
    path("people/<int:person>/visits/missed/", visits.visit_missed, name="visit_missed"),
    path("visits/<int:visit>/", visits.visit, name="visit"),
    path("visits/<int:visit>/finish/", finishing.visit_finish, name="visit_finish"),
    path("visits/<int:visit>/correct/", visits.visit_correct, name="visit_correct"),
    path("visits/<int:visit>/in-error/", taking_back.visit_in_error, name="visit_in_error"),
    path("visits/<int:visit>/move/", taking_back.visit_move_to, name="visit_move_to"),
    path("visits/<int:visit>/move/<int:person>/", taking_back.visit_move, name="visit_move"),
]
