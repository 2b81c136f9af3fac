"""Every page: some by hand, the rest from the doors and looks."""

from __future__ import annotations

from django.urls import URLPattern, path

from dosewright.roof.api import registry
from dosewright.roof.pages import coming_and_going, doors, home, house, order_entry, order_import, records


def patterns() -> list[URLPattern]:
    """Return the addresses of all pages; they are those of the API without its prefix, and forms for doors."""
    registry.load()
    found = [
        path("", home.home),
        path("find", home.find),
        path("sign-in", coming_and_going.enter),
        path("sign-out", coming_and_going.leave),
        path("cautions", house.cautions),
        path("trace", house.trace),
        path("trace/<str:code>", house.trace),
        path("document/<str:code>/file", house.document_file),
    ]
    if registry.door_at("order", "", creates=True):
        found += [
            path("order/new", order_entry.enter),
            path("order/new/import", order_import.bring),
            path("order/new/import/template.csv", order_import.template),
            path("order/<str:code>/amend", order_entry.change, {"verb": "amend"}),
            path("order/<str:code>/resubmit", order_entry.change, {"verb": "resubmit"}),
        ]
    for subject in registry.subjects():
        which = {"subject": subject}
        found += [
            path(subject, records.many, which),
            path(f"{subject}/new", doors.creating, which),
            path(f"{subject}/new/<str:verb>", doors.creating, which),
            path(f"{subject}/<str:code>", records.one, which),
            path(f"{subject}/<str:code>/<str:verb>", doors.acting, which),
        ]
    return found
