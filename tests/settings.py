"""The site's own settings on a home that is made for this run and removed after it."""

import atexit
import os
import shutil
import tempfile

os.environ.setdefault("DOSEWRIGHT_TESTING", "yes")
if "DOSEWRIGHT_HOME" not in os.environ:
    os.environ["DOSEWRIGHT_HOME"] = tempfile.mkdtemp(prefix="dosewright-test-home-")
    atexit.register(shutil.rmtree, os.environ["DOSEWRIGHT_HOME"], ignore_errors=True)

from dosewright.roof.settings import *  # noqa: F403
