"""The site's own settings on a home that is made for this run and removed after it."""

import atexit
import os
import shutil
import tempfile

os.environ.setdefault("DOSEWRIGHT_TESTING", "yes")
# Processes that share the tests have a home each: what the first one set is not the others'.
if "DOSEWRIGHT_HOME" not in os.environ or "PYTEST_XDIST_WORKER" in os.environ:
    os.environ["DOSEWRIGHT_HOME"] = tempfile.mkdtemp(prefix="dosewright-test-home-")
    atexit.register(shutil.rmtree, os.environ["DOSEWRIGHT_HOME"], ignore_errors=True)

from dosewright.roof.settings import *  # noqa: F403
