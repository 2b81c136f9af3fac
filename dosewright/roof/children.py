"""Child processes of the commands: started, watched, and stopped with their parent."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


class Child:
    """One child process with a name; it ends when its parent ends."""

    def __init__(
        self, name: str, command: list[str], *, env: dict[str, str] | None = None, log: Path | None = None
    ) -> None:
        self.name = name
        out = log.open("ab") if log else None
        self.process = subprocess.Popen(
            command,
            cwd=ROOT,
            env=env,
            stdout=out or sys.stderr,
            stderr=out or sys.stderr,
            stdin=subprocess.DEVNULL,
            preexec_fn=_die_with_parent,  # noqa: PLW1509 - nothing else runs in the parent when it forks
        )
        if out:
            out.close()

    def stop(self, *, within_s: float = 10) -> None:
        """Ask the child to end, and end it when it does not."""
        if self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(within_s)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()


def manage(*arguments: str) -> list[str]:
    """Return the command line of one of our own commands."""
    return [sys.executable, str(ROOT / "manage.py"), *arguments]


def web(port: int, *, threads: int = 4) -> list[str]:
    """Return the command line of the web server on a loopback port."""
    return [
        sys.executable,
        "-m",
        "gunicorn",
        "dosewright.roof.wsgi:application",
        "--bind",
        f"127.0.0.1:{port}",
        "--worker-class",
        "gthread",
        "--threads",
        str(threads),
        "--workers",
        "1",
        "--timeout",
        "60",
        "--log-level",
        "warning",
        "--no-control-socket",
    ]


def wait_for(url: str, child: Child, *, within_s: float = 30) -> bool:
    """Return whether `url` answers within the time while the child lives."""
    end = time.monotonic() + within_s
    while time.monotonic() < end and child.process.poll() is None:
        try:
            with urllib.request.urlopen(url, timeout=2) as answer:
                return bool(answer.status == 200)
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    return False


def _die_with_parent() -> None:
    """Let the kernel end the child when the parent dies (Linux); elsewhere the parent's end stops it."""
    if sys.platform == "linux":
        import ctypes

        ctypes.CDLL(None).prctl(1, signal.SIGTERM)
        if os.getppid() == 1:
            os._exit(0)


def free_port() -> int:
    """Return a loopback port that is free now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def module(name: str, *arguments: str) -> list[str]:
    """Return the command line of one of our modules as a program."""
    return [sys.executable, "-m", name, *arguments]
