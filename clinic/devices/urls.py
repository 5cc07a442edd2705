"""Routes of this room."""

from django.urls import path

from clinic.devices.views import fittings, opening_cards, overriding, prescriptions, wear_back

urlpatterns = [
    path("limbs/<int:limb>/prescribe/", prescriptions.prescription_new, name="prescription_new"),
    path("limbs/<int:limb>/decisions/", prescriptions.limb_decisions, name="limb_decisions"),
    path("prescriptions/<int:prescription>/", prescriptions.prescription, name="prescription"),
    path("prescriptions/<int:prescription>/record/", prescriptions.decision_print, name="decision_print"),
    path(
        "prescriptions/<int:prescription>/second/",
        prescriptions.prescription_second,
        name="prescription_second",
    ),
    path(
        "prescriptions/<int:prescription>/second/telephone/",
        overriding.second_telephone,
        name="second_telephone",
    ),
    path(
        "prescriptions/<int:prescription>/second/confirm/", overriding.second_confirm, name="second_confirm"
    ),
    path("prescriptions/<int:prescription>/fit/", fittings.prescription_fit, name="prescription_fit"),
    path("prescriptions/<int:prescription>/advice-sheet/", fittings.advice_print, name="advice_print"),
    path("prescriptions/<int:prescription>/card/", opening_cards.card_new, name="card_new"),
    path("cards/<int:card>/", opening_cards.opening_card, name="opening_card"),
    path("prescriptions/<int:prescription>/open/", prescriptions.prescription_open, name="prescription_open"),
    path("prescriptions/<int:prescription>/open/correct/", wear_back.opening_correct, name="opening_correct"),
    path(
        "prescriptions/<int:prescription>/open/take-back/",
        wear_back.opening_take_back,
        name="opening_take_back",
    ),
    path(
        "prescriptions/<int:prescription>/seal/take-back/",
        wear_back.sealing_take_back,
        name="sealing_take_back",
    ),
    path("prescriptions/<int:prescription>/stop/", prescriptions.prescription_stop, name="prescription_stop"),
]
