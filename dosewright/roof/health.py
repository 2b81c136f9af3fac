"""Is this process alive, and can it do its work?"""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.utils import timezone

from dosewright.ground.models import Work
from dosewright.ground.triggers import missing_triggers


def alive(request: HttpRequest) -> JsonResponse:
    """Answer that the process answers."""
    return JsonResponse({"status": "alive"})


def ready(request: HttpRequest) -> JsonResponse:
    """Answer whether database, triggers, files and queue are as they should be; 503 when not."""
    found = {"database": _database(), "triggers": _triggers(), "files": _files(), "work": _work()}
    good = all(value == "ok" for value in found.values())
    return JsonResponse({"status": "ready" if good else "not ready", **found}, status=200 if good else 503)


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
        late = Work.objects.filter(state=Work.WAITING, due_at__lt=timezone.now() - timedelta(minutes=10)).count()
    except DatabaseError:
        return "not reached"
    return f"{late} pieces wait for more than ten minutes" if late else "ok"
