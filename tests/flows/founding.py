"""Founds the cast's site in the home of the environment: what stands before there is anybody to ask.

`python -m tests.flows.founding [GS1-PREFIX]` prints the site's code. Substance, formulation, lots and all else
follow over HTTP by the people themselves.
"""

from __future__ import annotations

import sys

import django

django.setup()

from dosewright.roof import clock  # noqa: E402
from tests.cast import found_cast  # noqa: E402

if __name__ == "__main__":
    site = found_cast(at=clock.now()).site
    site.gs1_prefix = "".join(sys.argv[1:])
    site.save()
    sys.stdout.write(site.code)
