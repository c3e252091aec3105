"""Every page, by half."""

from django.urls import URLPattern, URLResolver, include, path

from config.health import healthz, readyz

urlpatterns: list[URLPattern | URLResolver] = [
    path("healthz", healthz, name="healthz"),
    path("readyz", readyz, name="readyz"),
    path("", include("trays.urls")),
    path("", include("cases.urls")),
]
handler400 = "trays.web.views.bad_request"
handler403 = "trays.web.views.forbidden"
handler404 = "trays.web.views.not_found"
handler500 = "trays.web.views.server_error"
