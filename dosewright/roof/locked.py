"""What the lock files ask for, and what of it this interpreter lacks.

Standard library only, and no syntax that an old Python cannot read, for the reason given in `bootstrap`.
"""

import operator
import os
import re
import sys

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
RUN, DEV = "requirements.lock", "requirements-dev.lock"
WRONG_USAGE, SETUP_MISSING = 2, 3

PIN = re.compile(r"^([A-Za-z0-9._-]+)(?:\[[^\]]*\])?==([^\s;\\]+)(?:\s*;\s*([^\\]+?))?\s*\\?$", re.M)
SIGNS = {
    "==": operator.eq,
    "!=": operator.ne,
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
}
CLAUSE = re.compile(r"^(\w+)\s*(==|!=|<=|>=|<|>)\s*'([^']*)'$")


def say(text):
    # type: (str) -> None
    """Write one line to standard error, which standard output's readers never see."""
    sys.stderr.write("dosewright: {}\n".format(text))
    sys.stderr.flush()


def stop(text, code=SETUP_MISSING):
    # type: (str, int) -> None
    """Say why and leave."""
    say(text)
    raise SystemExit(code)


def lock_path(listing):
    # type: (str) -> str
    """Return the path of a lock file; leave when it is not there."""
    path = os.path.join(ROOT, listing)
    if not os.path.isfile(path):
        stop("{} is missing from {}".format(listing, ROOT))
    return path


def pins(listing):
    # type: (str) -> dict[str, str]
    """Return name and version of every package of the lock that applies to this interpreter."""
    with open(lock_path(listing)) as lines:
        found = PIN.findall(lines.read())
    return {canonical(name): version for name, version, marker in found if applies(marker)}


def canonical(name):
    # type: (str) -> str
    """Return the name as package indexes compare it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def applies(marker):
    # type: (str) -> bool
    """Evaluate a marker as the lock files use them: clauses joined by `and` or `or`, no brackets."""
    return not marker or any(all(map(holds, way.split(" and "))) for way in marker.split(" or "))


def holds(clause):
    # type: (str) -> bool
    """Evaluate one clause of a marker; leave on one that is not understood rather than guess."""
    parts = CLAUSE.match(clause.strip())
    facts = marker_facts()
    if parts is None or parts.group(1) not in facts:
        stop("cannot read the marker {!r} in the lock file".format(clause))
    name, sign, wanted = parts.groups()  # type: ignore[union-attr]
    if "version" in name:
        return bool(SIGNS[sign](numbers(facts[name]), numbers(wanted)))
    return bool(SIGNS[sign](facts[name], wanted))


def marker_facts():
    # type: () -> dict[str, str]
    """Return the facts of this interpreter that markers ask for."""
    import platform

    return {
        "python_version": "{}.{}".format(*sys.version_info[:2]),
        "python_full_version": platform.python_version(),
        "sys_platform": sys.platform,
        "platform_machine": platform.machine(),
        "platform_system": platform.system(),
        "platform_python_implementation": platform.python_implementation(),
        "implementation_name": sys.implementation.name,
    }


def numbers(version):
    # type: (str) -> tuple[int, ...]
    """Return a release number as a tuple, without trailing zeros, so that 3.12 equals 3.12.0."""
    parts = [int(part) for part in re.findall(r"\d+", version)[:3]]
    while parts and not parts[-1]:
        parts.pop()
    return tuple(parts)


def direct_names(listing):
    # type: (str) -> list[str]
    """Return the packages that the project itself asks for, from pyproject.toml."""
    import tomllib

    with open(os.path.join(ROOT, "pyproject.toml"), "rb") as lines:
        project = tomllib.load(lines)
    asked = list(project["project"]["dependencies"])
    if listing == DEV:
        asked += project["dependency-groups"]["dev"]
    return [canonical(re.split(r"[^A-Za-z0-9._-]", one)[0]) for one in asked]


def differences(listing, only=None):
    # type: (str, list[str] | None) -> list[str]
    """Return a phrase for each locked package that this interpreter lacks or has in another version."""
    from importlib import metadata

    wanted = pins(listing)
    found = []
    for name in sorted(wanted if only is None else only):
        if name not in wanted:
            found.append("{} is not in the lock".format(name))
            continue
        try:
            have = metadata.version(name)
        except metadata.PackageNotFoundError:
            have = "missing"
        if have != wanted[name]:
            found.append("{} {}, wanted {}".format(name, have, wanted[name]))
    return found


if __name__ == "__main__":
    FOUND = differences(sys.argv[1])
    for phrase in FOUND:
        say(phrase)
    raise SystemExit(bool(FOUND))
