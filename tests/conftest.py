"""What every test shares; `tests.settings` gives the home, the file database and the fast hasher."""

pytest_plugins = ["tests.suites"]
