"""Routes of this room."""

from django.urls import path

from clinic.lesions.views import bone, closure, looks, non_healing
from clinic.lesions.views import register as lesion_register

urlpatterns = [
    path("people/<int:person>/lesions/new/", lesion_register.lesion_new, name="lesion_new"),
    path("lesions/<int:lesion>/edit/", lesion_register.lesion_edit, name="lesion_edit"),
    path("lesions/<int:lesion>/close/", closure.lesion_close, name="lesion_close"),
    path("lesions/<int:lesion>/confirm/", closure.lesion_confirm, name="lesion_confirm"),
    path("lesions/<int:lesion>/reopen/", closure.lesion_reopen, name="lesion_reopen"),
    path("lesions/<int:lesion>/end/", closure.lesion_end, name="lesion_end"),
    path("lesions/<int:lesion>/look/", looks.look_ask, name="look_ask"),
    path("looks/<int:look>/answer/", looks.look_answer, name="look_answer"),
    path("looks/<int:look>/read/", looks.look_read, name="look_read"),
    path("looks/<int:look>/read/take-back/", looks.look_unread, name="look_unread"),
    path("lesions/<int:lesion>/bone/new/", bone.bone_new, name="bone_new"),
    path("bone-judgements/<int:judgement>/in-error/", bone.bone_in_error, name="bone_in_error"),
    path("lesions/<int:lesion>/non-healing/new/", non_healing.non_healing_new, name="non_healing_new"),
    path("non-healing/<int:non_healing>/", non_healing.non_healing, name="non_healing"),
    path("non-healing/<int:non_healing>/decide/", non_healing.non_healing_decide, name="non_healing_decide"),
    path("non-healing-items/<int:item>/", non_healing.non_healing_item, name="non_healing_item"),
]
