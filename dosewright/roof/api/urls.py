"""Every address of the API: some by hand, the rest from the doors and looks."""

from __future__ import annotations

from typing import Any

from django.urls import URLPattern, path
from rest_framework.views import APIView

from dosewright.ground.rest import DOORS, LOOKS, Door
from dosewright.roof.api import registry
from dosewright.roof.api.documents import FileView
from dosewright.roof.api.door_views import methods_of
from dosewright.roof.api.fhir.views import FhirBundle, FhirMedicationRequest
from dosewright.roof.api.gateway import PlateFileView, PrinterJob
from dosewright.roof.api.look_views import list_methods, one_methods
from dosewright.roof.api.parsing import StrictJson, raw_text
from dosewright.roof.api.schema import Document, camel
from dosewright.roof.api.sessions import Session
from dosewright.roof.api.tracing import TraceView


def patterns() -> list[URLPattern]:
    """Return the addresses below ``/api/v1/``; a code never looks like a verb, for it has capitals."""
    registry.load()
    found = [
        path("schema", Document.as_view()),
        path("session", Session.as_view()),
        path("trace/<str:code>", TraceView.as_view()),
        path("document/<str:code>/file", FileView.as_view()),
        path("printer-job", PrinterJob.as_view()),
        path("fhir", FhirBundle.as_view()),
        path("fhir/MedicationRequest", FhirMedicationRequest.as_view()),
        path("batch/<str:code>/plate-file", PlateFileView.as_view()),
    ]
    found += [path(subject, _collection(subject)) for subject in registry.subjects() if _has_collection(subject)]
    found += [
        path(f"{one.subject}/{one.verb}", _view(camel(one.action), methods_of(one), door=one, **_parsers(one)))
        for one in DOORS.values()
        if one.creates and one.verb
    ]
    found += [
        path(f"{one.subject}/<str:code>", _view(camel(one.subject), one_methods(one)))
        for one in LOOKS.values()
        if registry.shows_one(one)
    ]
    found += [
        path(f"{one.subject}/<str:code>/{one.verb}", _view(camel(one.action), methods_of(one), door=one))
        for one in DOORS.values()
        if not one.creates
    ]
    return found


def _parsers(door: type[Door]) -> dict[str, Any]:
    """Return the parsers of a door that takes more than JSON."""
    return {"parser_classes": [StrictJson, *map(raw_text, door.media)]} if door.media else {}


def _has_collection(subject: str) -> bool:
    return registry.shows_page(registry.look_at(subject)) or registry.door_at(subject, "", creates=True) is not None


def _collection(subject: str) -> Any:
    look, door = registry.look_at(subject), registry.door_at(subject, "", creates=True)
    methods = list_methods(look) if look and registry.shows_page(look) else {}
    methods |= methods_of(door) if door else {}
    return _view(f"{camel(subject)}Collection", methods, door=door)


def _view(name: str, methods: dict[str, Any], **attributes: Any) -> Any:
    view: type[APIView] = type(name, (APIView,), {**methods, **attributes})
    return view.as_view()
