"""Every address of the site."""

from __future__ import annotations

from django.urls import path

from dosewright.roof import health

urlpatterns = [
    path("health/alive", health.alive),
    path("health/ready", health.ready),
]
