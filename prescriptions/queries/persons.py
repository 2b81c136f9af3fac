"""Which other patients of a site may be meant, or be the same person: candidates for `screening.persons`."""

from __future__ import annotations

from django.db.models import Q
from django.db.models.functions import Substr

from prescriptions.models import Patient
from prescriptions.screening.persons import Person, first_letters, near_dates
from prescriptions.states import ACTIVE


def persons_like(patient: Patient) -> tuple[Person, ...]:
    """Return the patients of the site to compare with.

    Those whose birth date a slip would make of this one, and those with orders under way and like initials; names may
    stand crossed, so that a family name is looked for among given names too.
    """
    letters = first_letters(patient.family_name)
    under_way = Q(orders__state__in=ACTIVE) & (Q(family_initial__in=letters) | Q(given_initial__in=letters))
    rows = Patient.objects.annotate(
        family_initial=Substr("family_name", 1, 1), given_initial=Substr("given_name", 1, 1)
    )
    rows = rows.filter(Q(birth_date__in=near_dates(patient.birth_date)) | under_way, site_id=patient.site_id)
    found = rows.exclude(pk=patient.pk).order_by("code").distinct()
    return tuple(
        Person(code=code, family_name=family, given_name=given, birth_date=born)
        for code, family, given, born in found.values_list("code", "family_name", "given_name", "birth_date")
    )
