"""Is this process alive, and can it do its work?"""

from __future__ import annotations

from django.conf import settings
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse

from dosewright.ground.left_undone import left_undone
from dosewright.ground.triggers import missing_triggers
from dosewright.roof import clock


def alive(request: HttpRequest) -> JsonResponse:
    """Answer that the process answers."""
    return JsonResponse({"status": "alive"})


def ready(request: HttpRequest) -> JsonResponse:
    """Answer whether database, triggers, files and queue are as they should be; 503 when not."""
    found = {"database": _database(), "triggers": _triggers(), "files": _files(), "work": _work()}
    good = all(value == "ok" for value in found.values())
    # Work that was given up wants a person; it is no reason to send nobody here any more.
    told = {"status": "ready" if good else "not ready", **found, "failed_work": _failed_work()}
    return JsonResponse(told, status=200 if good else 503)


def _database() -> str:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return "not reached"
    return "ok"


def _triggers() -> str:
    try:
        return f"{len(missing_triggers())} missing" if missing_triggers() else "ok"
    except DatabaseError:
        return "not reached"


def _files() -> str:
    return "ok" if settings.DOSEWRIGHT_HOME.is_dir() else "home is missing"


def _work() -> str:
    try:
        late = left_undone(now=clock.now()).late
    except DatabaseError:
        return "not reached"
    return f"{late} pieces wait for more than ten minutes" if late else "ok"


def _failed_work() -> str:
    try:
        failed = left_undone(now=clock.now()).failed
    except DatabaseError:
        return "not reached"
    return f"{failed} pieces failed by a fault" if failed else "none"
