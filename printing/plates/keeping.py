"""Does a line keep until its last day? Asked when it is ordered, long before it is packed.

What raw materials and the law allow is known at packing only; here stands what the formulation and the site say.
"""

from __future__ import annotations

from datetime import date, timedelta
from zoneinfo import ZoneInfo

from dosewright.ground.pure.site_values import SiteValues
from prescriptions.findings import Finding, Severity
from prescriptions.queries.facts import LineFacts
from printing.formulary.content import FormulationFacts


def shelf_days(formulation: FormulationFacts, site: SiteValues) -> int:
    """Return how many days [d] a product keeps after printing: its study's, else the site's in the refrigerator."""
    return formulation.shelf_life_days or site.default_shelf_life_days


def keeps(line: LineFacts, formulation: FormulationFacts, site: SiteValues, *, made_on: date) -> bool:
    """Say whether the line, printed on ``made_on``, may still be used on its last day."""
    return line.ends_on <= made_on + timedelta(days=shelf_days(formulation, site))


def course_outlasts(
    line: LineFacts, formulation: FormulationFacts, site: SiteValues, *, zone: ZoneInfo
) -> Finding | None:
    """Return what blocks a line that would not keep until its last day, though printed as late as can be.

    That is the site's lead time before it must be ready. The finding says how long a supply may last.
    """
    due_on = line.ready_by.astimezone(zone).date()
    made_on = due_on - timedelta(days=site.lead_time_days)
    if keeps(line, formulation, site, made_on=made_on):
        return None
    days = shelf_days(formulation, site)
    most = days - (line.starts_on - made_on).days + 1
    return Finding(
        rule="course-outlasts-product",
        severity=Severity.BLOCK,
        field=line.code,
        value=str((line.ends_on - made_on).days),
        limit=str(days),
        unit="day",
        source="shelf life by study of the formulation, else the site's default",
        message=f"the product keeps {days} days after printing and the course ends later: "
        f"hand it over in supplies (supply_days) of up to {max(most, 1)} days",
    )
