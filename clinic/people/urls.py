"""Routes of this room."""

from django.urls import path

from clinic.people.views import limbs, merging, people, transfers, weights

urlpatterns = [
    path("people/", people.people, name="people"),
    path("people/new/", people.person_new, name="person_new"),
    path("people/duplicates/", merging.duplicates, name="duplicates"),
    path("people/transfers/", transfers.transfers, name="transfers"),
    path("people/<int:person>/edit/", people.person_edit, name="person_edit"),
    path("people/<int:person>/state/", people.person_state, name="person_state"),
    path("people/<int:person>/weights/new/", people.weight_new, name="weight_new"),
    path("weights/<int:weight>/correct/", weights.weight_correct, name="weight_correct"),
    path("weights/<int:weight>/withdraw/", weights.weight_withdraw, name="weight_withdraw"),
    path("people/<int:person>/circumstances/new/", people.circumstances_new, name="circumstances_new"),
    path("people/<int:person>/merge/<int:other>/", merging.merge_look, name="merge_look"),
    path("people/<int:person>/merge/<int:other>/do/", merging.merge_do, name="merge_do"),
    path("people/<int:person>/apart/<int:other>/", merging.people_apart, name="people_apart"),
    path("merges/<int:merge>/undo/", merging.merge_undo, name="merge_undo"),
    path("people/<int:person>/transfer/", transfers.transfer_new, name="transfer_new"),
    path("transfers/<int:transfer>/", transfers.transfer, name="transfer"),
    path("transfers/<int:transfer>/seen/", transfers.transfer_seen, name="transfer_seen"),
    path("transfers/<int:transfer>/answer/", transfers.transfer_answer, name="transfer_answer"),
    path("transfers/<int:transfer>/withdraw/", transfers.transfer_withdraw_view, name="transfer_withdraw"),
    path("transfers/<int:transfer>/undo/", transfers.transfer_undo, name="transfer_undo"),
    path("limbs/<int:limb>/edit/", limbs.limb_edit, name="limb_edit"),
    path("limbs/<int:limb>/findings/new/", limbs.finding_new, name="finding_new"),
]
