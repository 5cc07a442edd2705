"""The composition root's routes: signing out, and the clinic's own. The admin site is not mounted."""

from django.contrib.auth import views as auth_views
from django.urls import include, path

urlpatterns = [
    path("sign-out/", auth_views.LogoutView.as_view(), name="logout"),
    path("", include("clinic.urls")),
]

handler500 = "clinic.record.views.errors.server_error"
handler429 = "clinic.record.views.errors.too_many"
