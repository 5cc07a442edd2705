"""The clinic's routes with Django's own admin beside them, for one comparison in the tests; never mounted
elsewhere.
"""

from pathlib import Path

from django.contrib import admin
from django.contrib.auth.decorators import login_not_required
from django.http import HttpResponse
from django.urls import path
from django.views.static import serve

from clinic.config.urls import urlpatterns as clinic_urlpatterns
from clinic.models import Prescription


class PlainPrescriptionAdmin(admin.ModelAdmin):
    """The form Django makes by itself. Its log needs a table of its own, which the clinic's database
    lacks.
    """

    def log_addition(self, request, obj, message):
        return None

    def save_model(self, request, obj, form, change):
        obj.created_by = request.user
        super().save_model(request, obj, form, change)


site = admin.AdminSite(name="admin")
site.register(Prescription, PlainPrescriptionAdmin)
STATIC = Path(admin.__file__).parent / "static" / "admin"
urlpatterns = [
    path("plain-admin/", site.urls),
    path("static/admin/<path:path>", login_not_required(serve), {"document_root": STATIC}),
    path("favicon.ico", login_not_required(lambda request: HttpResponse(status=204))),
    *clinic_urlpatterns,
]
