"""See to it that the locked packages are there before anything imports one.

Standard library only, and no syntax that an old Python cannot read: it must get far enough to say that it
is too old. Hence the type comments.
"""

import contextlib
import hashlib
import os
import subprocess
import sys

from dosewright.roof import locked
from dosewright.roof.locked import DEV, ROOT, RUN, WRONG_USAGE, lock_path, say, stop

OLDEST, NEWEST = (3, 11), (3, 13)

VENV = os.path.join(ROOT, ".venv")
VENV_PYTHON = os.path.join(VENV, "bin", "python")
STAMP = os.path.join(VENV, "dosewright-stamp")
LOCK = os.path.join(ROOT, ".venv.lock")

INSTALLING = ("demo", "setup", "test")
GUARD = "DOSEWRIGHT_REEXECUTED"

STRICTLY = ["--require-hashes", "--no-deps", "--only-binary", ":all:"]
# Each of these sends packages elsewhere or changes what is taken; the user's index and certificates stay.
MISLEADING = (
    "PIP_USER PIP_TARGET PIP_PREFIX PIP_ROOT PIP_PYTHON PIP_REQUIRE_VIRTUALENV PIP_REQUIREMENT PIP_SRC "
    "PIP_CONSTRAINT PIP_EDITABLE PIP_NO_BINARY PIP_ONLY_BINARY PIP_DRY_RUN PIP_REPORT PIP_UPGRADE PIP_PRE "
    "PIP_IGNORE_INSTALLED PIP_FORCE_REINSTALL PIP_PLATFORM PIP_PYTHON_VERSION PIP_IMPLEMENTATION PIP_ABI "
    "UV_SYSTEM_PYTHON UV_PYTHON UV_TARGET UV_PREFIX UV_CONSTRAINT UV_OVERRIDE UV_NO_BINARY UV_REINSTALL "
    "UV_BREAK_SYSTEM_PACKAGES PYTHONPATH PYTHONHOME PYTHONUSERBASE PYTHONPLATLIBDIR VIRTUAL_ENV "
    "__PYVENV_LAUNCHER__"
).split()


def ensure(argv):
    # type: (list[str]) -> None
    """Return only where the locked packages are; else install them and start anew, or stop (exit 3)."""
    check_version()
    command = argv[1] if len(argv) > 1 else ""
    listing = DEV if command == "test" else RUN
    if installing_is_off() or in_users_environment():
        check_users_environment(listing)
        return
    try:
        ensure_venv(command, listing)
    except KeyboardInterrupt:
        stop("set-up interrupted; the next run repairs it", 130)
    except OSError as error:
        stop("set-up is not possible here: {}".format(error))


def ensure_venv(command, listing):
    # type: (str, str) -> None
    """Return when running in the stamped .venv; else make it so and start the command there."""
    ready = is_stamped(listing)
    if ready and in_own_venv():
        os.environ.pop(GUARD, None)
        return
    if GUARD in os.environ:
        stop(".venv does not start as it should; remove it and run `python3 manage.py setup`")
    if not ready:
        if command not in INSTALLING:
            stop("the packages of {} are not set up: run `python3 manage.py setup`".format(listing))
        install(listing)
    start_in_venv()


def check_version():
    # type: () -> None
    """Leave unless this Python is one that the lock files were made for."""
    if not OLDEST <= tuple(sys.version_info[:2]) <= NEWEST:
        stop("needs Python 3.11 to 3.13, this is {} ({})".format(sys.version.split()[0], sys.executable))


def installing_is_off():
    # type: () -> bool
    """Tell whether the environment forbids installing; refuse a word that is neither on nor off."""
    word = os.environ.get("DOSEWRIGHT_BOOTSTRAP", "on")
    if word not in ("on", "off"):
        stop("DOSEWRIGHT_BOOTSTRAP is {!r}; accepted: on, off".format(word), WRONG_USAGE)
    return word == "off"


def in_own_venv():
    # type: () -> bool
    """Tell whether this interpreter is the one of our .venv."""
    return os.path.realpath(sys.prefix) == os.path.realpath(VENV)


def in_users_environment():
    # type: () -> bool
    """Tell whether this interpreter belongs to an environment that the user made, which is theirs to fill."""
    conda = os.path.isdir(os.path.join(sys.prefix, "conda-meta"))
    return conda or (sys.prefix != sys.base_prefix and not in_own_venv())


def check_users_environment(listing):
    # type: (str) -> None
    """Leave with the exact command when a direct requirement differs from the lock."""
    found = locked.differences(listing, only=locked.direct_names(listing))
    if found:
        command = " ".join(pip_here() + STRICTLY + list(map(quoted, offline() + ["-r", lock_path(listing)])))
        stop("this environment differs from {} ({}); run: {}".format(listing, "; ".join(found), command))


def pip_here():
    # type: () -> list[str]
    """Return the install command that fills the running environment."""
    from importlib.util import find_spec

    if find_spec("pip"):
        return [quoted(sys.executable), "-m", "pip", "install"]
    return ["uv", "pip", "install", "--python", quoted(sys.executable)]


def quoted(text):
    # type: (str) -> str
    """Return the text as one word of a shell."""
    import shlex

    return shlex.quote(text)


def stamp_for(listing):
    # type: (str) -> str
    """Return the stamp of a finished set-up: list, Python and digest of what was locked."""
    digest = hashlib.sha256()
    for name in (RUN,) if listing == RUN else (RUN, DEV):
        with open(lock_path(name), "rb") as lines:
            digest.update(lines.read())
    return "{} python{}.{} {}\n".format(listing, sys.version_info[0], sys.version_info[1], digest.hexdigest())


def is_stamped(listing):
    # type: (str) -> bool
    """Tell whether .venv was finished for these lock files; the development list serves for both."""
    if not os.access(VENV_PYTHON, os.X_OK):
        return False
    try:
        with open(STAMP) as lines:
            stamp = lines.read()
    except OSError:
        return False
    return stamp in (stamp_for(listing), stamp_for(DEV))


def write_stamp(listing):
    # type: (str) -> None
    """Write the stamp in one step, so that it is whole or absent."""
    with open(STAMP + ".new", "w") as lines:
        lines.write(stamp_for(listing))
        lines.flush()
        os.fsync(lines.fileno())
    os.replace(STAMP + ".new", STAMP)


class Installation(object):
    """One set-up of .venv under the exclusive lock file, which also remembers one that was cut short."""

    def __init__(self, lock, listing):
        # type: (int, str) -> None
        self.lock = lock
        self.listing = listing

    def carry_out(self):
        # type: () -> None
        """Install, verify, stamp."""
        source = offline()
        fresh = self.was_cut_short() or not self.has_usable_python()
        self.remember(b"unfinished")
        with contextlib.suppress(OSError):
            os.remove(STAMP)
        if fresh:
            self.make_venv()
        self.run_or_stop(self.installer() + STRICTLY + source + ["-r", lock_path(self.listing)])
        self.verify()
        write_stamp(self.listing)
        self.remember(b"")

    def was_cut_short(self):
        # type: () -> bool
        """Tell whether an earlier set-up died: a half-written package can look whole to an installer."""
        return os.pread(self.lock, 16, 0) == b"unfinished"

    def remember(self, word):
        # type: (bytes) -> None
        """Note in the lock file how far the set-up is."""
        os.ftruncate(self.lock, 0)
        os.pwrite(self.lock, word, 0)

    def has_usable_python(self):
        # type: () -> bool
        """Tell whether .venv starts a Python of the running version; leave when .venv is something else."""
        if not os.path.isdir(VENV) or not os.listdir(VENV):
            return False
        if not os.path.isfile(os.path.join(VENV, "pyvenv.cfg")):
            stop("{} is there and is no virtual environment; move it away".format(VENV))
        here = tuple(sys.version_info[:2])
        same = "import sys; raise SystemExit(sys.version_info[:2] != {!r})".format(here)
        return self.run([VENV_PYTHON, "-I", "-c", same], quiet=True) == 0

    def make_venv(self):
        # type: () -> None
        """Make .venv anew, without pip, since a bare Debian has no ensurepip."""
        self.run_or_stop([sys.executable, "-I", "-m", "venv", "--clear", "--without-pip", VENV])

    def installer(self):
        # type: () -> list[str]
        """Return the first install command that works here: the .venv's pip, ensurepip's, another pip, uv."""
        own = [VENV_PYTHON, "-I", "-m", "pip"]
        ways = [own, [sys.executable, "-m", "pip", "--python", VENV_PYTHON]]
        if self.run(own + ["--version"], quiet=True) != 0:
            self.run([VENV_PYTHON, "-I", "-m", "ensurepip"], quiet=True)
        for way in ways:
            if self.run(way + ["--version"], quiet=True) == 0:
                return way + ["install", "--quiet", "--no-input", "--disable-pip-version-check"]
        if self.run(["uv", "--version"], quiet=True) == 0:
            return ["uv", "pip", "install", "--quiet", "--python", VENV_PYTHON]
        stop("no pip and no uv to install with: run `apt-get install python3-venv` as root, then again")
        return []

    def verify(self):
        # type: () -> None
        """Look whether the packages are in .venv: a stray target folder makes an installer report success."""
        if self.run([VENV_PYTHON, "-I", os.path.abspath(locked.__file__), self.listing]) != 0:
            stop("the installer reported success, yet .venv is not as locked")

    def run_or_stop(self, command):
        # type: (list[str]) -> None
        """Run a step; leave when it fails."""
        code = self.run(command)
        if code != 0:
            step = " ".join(map(quoted, command))
            stop("set-up failed, nothing was marked as done; exit code {} from: {}".format(code, step))

    def run(self, command, quiet=False):
        # type: (list[str], bool) -> int
        """Run a program that keeps the lock file open, so that the lock outlives a killed parent."""
        sink = subprocess.DEVNULL if quiet else sys.stderr.fileno()
        try:
            return subprocess.call(
                command,
                env=clean_environment(),
                stdin=subprocess.DEVNULL,
                stdout=sink,
                stderr=sink,
                pass_fds=(self.lock,),
            )
        except OSError:
            return 127


def install(listing):
    # type: (str) -> None
    """Bring .venv to the state of the lock file, once, however many commands ask for it at a time."""
    import fcntl

    lock = os.open(LOCK, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            say("another set-up is at work; waiting for it")
            fcntl.flock(lock, fcntl.LOCK_EX)
        if is_stamped(listing):
            return
        say("installing the {} packages of {} into .venv, once".format(len(locked.pins(listing)), listing))
        Installation(lock, listing).carry_out()
    finally:
        os.close(lock)


def offline():
    # type: () -> list[str]
    """Return the options that take wheels from a folder only, when the user names one."""
    folder = os.environ.get("DOSEWRIGHT_WHEELS")
    if not folder:
        return []
    if not os.path.isdir(folder):
        stop("DOSEWRIGHT_WHEELS is {!r}, which is no folder".format(folder), WRONG_USAGE)
    return ["--no-index", "--find-links", os.path.abspath(folder)]


def clean_environment():
    # type: () -> dict[str, str]
    """Return the environment for an installer: the user's, less what would send packages elsewhere."""
    kept = {name: value for name, value in os.environ.items() if name not in MISLEADING}
    # A configuration file may ask for user installs too; the variable outranks it.
    kept["PIP_USER"] = "0"
    return kept


def start_in_venv():
    # type: () -> None
    """Become the same command under .venv's Python, so that exit code and signals are its own."""
    misleading = ("PYTHONPATH", "PYTHONHOME")
    environment = {name: value for name, value in os.environ.items() if name not in misleading}
    environment[GUARD] = "1"
    os.execve(VENV_PYTHON, [VENV_PYTHON] + sys.orig_argv[1:], environment)
