"""Every address of the site."""

from __future__ import annotations

from django.urls import include, path

from dosewright.roof import health
from dosewright.roof.api.urls import patterns as api_patterns
from dosewright.roof.pages.urls import patterns as page_patterns

urlpatterns = [
    path("health/alive", health.alive),
    path("health/ready", health.ready),
    path("api/v1/", include(api_patterns())),
    path("", include(page_patterns())),
]

handler400 = "dosewright.roof.faults.bad_request"
handler403 = "dosewright.roof.faults.forbidden"
handler404 = "dosewright.roof.faults.not_found"
handler500 = "dosewright.roof.faults.server_error"
