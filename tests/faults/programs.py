"""Programs that can be stopped at a named step, killed with everything they started, and begun again."""

from __future__ import annotations

import os
import signal
import time
from dataclasses import dataclass, field
from pathlib import Path

from dosewright.roof.children import Child

MET_WITHIN_S = 60


class NotMet(AssertionError):
    """The step that was armed was never met; a fault that did not happen proves nothing."""


@dataclass(slots=True, kw_only=True)
class Program:
    """One of our programs with a folder of its own where it is told at which step to stop."""

    name: str
    command: list[str]
    env: dict[str, str]
    folder: Path
    child: Child | None = field(default=None)
    ended: int = 0

    @property
    def steps(self) -> Path:
        """The folder of `DOSEWRIGHT_STEPS`."""
        return self.folder / f"steps-{self.name}"

    @property
    def log(self) -> Path:
        """What the program wrote."""
        return self.folder / f"{self.name}.log"

    def begin(self) -> None:
        """Start the program, disarmed."""
        self.steps.mkdir(parents=True, exist_ok=True)
        self.disarm()
        env = self.env | {"DOSEWRIGHT_STEPS": str(self.steps)}
        self.child = Child(self.name, self.command, env=env, log=self.log)

    @property
    def is_alive(self) -> bool:
        """Tell whether its first process lives."""
        return self.child is not None and self.child.process.poll() is None

    def watch(self) -> None:
        """Begin it again where it ended by itself; one that was killed whole stays down until it is begun."""
        if self.child is not None and not self.is_alive:
            self.ended += 1
            self.begin()

    def kill(self) -> int:
        """Kill -9 the program with everything it started; return how many processes that were."""
        if self.child is None:
            return 0
        processes = [self.child.process.pid, *descendants(self.child.process.pid)]
        for process in processes:
            kill(process)
        self.child.process.wait()
        self.child = None
        return len(processes)

    def again(self) -> None:
        """Kill it and start it again, as whoever watches it would."""
        self.kill()
        self.begin()

    def end(self) -> None:
        """Stop it in peace."""
        if self.child is not None:
            self.release()
            self.child.stop()

    def arm(self, do: str, step: str, about: str = "*") -> None:
        """Say what shall happen at the next meeting of a step."""
        self.disarm()
        half = self.steps / "half"
        half.write_text(f"{do}\t{step}\t{about}", encoding="utf-8")
        half.rename(self.steps / "armed")

    def arm_held(self, do: str, step: str, about: str = "*") -> None:
        """Say what shall happen next to the process that is held, and let it go on."""
        for name in ("met", "who"):
            (self.steps / name).unlink(missing_ok=True)
        (self.steps / "armed").write_text(f"{do}\t{step}\t{about}", encoding="utf-8")
        (self.steps / "go").touch()

    def kill_held(self) -> None:
        """Kill -9 the one process that met the step."""
        kill(int((self.steps / "who").read_text(encoding="utf-8").partition("\t")[0]))

    def disarm(self) -> None:
        """Let nothing happen at any step."""
        for name in ("armed", "met", "who", "go"):
            (self.steps / name).unlink(missing_ok=True)

    def release(self) -> None:
        """Let a process that is held go on."""
        (self.steps / "armed").unlink(missing_ok=True)
        (self.steps / "go").touch()

    @property
    def met(self) -> bool:
        """Tell whether the armed step was met."""
        return (self.steps / "who").exists()

    @property
    def about(self) -> str:
        """What the step that was met was about."""
        return (self.steps / "who").read_text(encoding="utf-8").partition("\t")[2]

    def wait_met(self, *, within_s: float = MET_WITHIN_S) -> str:
        """Wait until the armed step is met and return what it was about; raises NotMet.

        A program that ended by itself meanwhile (as Celery's may when its broker was away) is begun again, as
        whoever watches over it does.
        """
        end = time.monotonic() + within_s
        while not self.met:
            self._begin_again_armed()
            if time.monotonic() > end:
                armed = (self.steps / "armed").read_text() if (self.steps / "armed").exists() else "nothing"
                raise NotMet(f"{self.name} never met {armed!r}; it wrote {self.said()}")
            time.sleep(0.05)
        return self.about

    def _begin_again_armed(self) -> None:
        armed = self.steps / "armed"
        if self.child is None or self.is_alive or self.met or not armed.exists():
            return
        what = armed.read_text(encoding="utf-8")
        self.watch()
        armed.write_text(what, encoding="utf-8")

    def said(self) -> str:
        """Return the end of what it wrote."""
        return self.log.read_text(encoding="utf-8", errors="replace")[-1500:] if self.log.exists() else ""


def kill(process: int) -> None:
    """Kill -9 one process; one that is gone is well."""
    try:
        os.kill(process, signal.SIGKILL)
    except ProcessLookupError:
        return


def descendants(process: int) -> list[int]:
    """Return all processes below one, by /proc."""
    parents: dict[int, list[int]] = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            after = stat.read_text(encoding="utf-8", errors="replace").rpartition(")")[2].split()
        except (FileNotFoundError, ProcessLookupError):
            continue
        parents.setdefault(int(after[1]), []).append(int(stat.parent.name))
    found, look = [], [process]
    while look:
        below = parents.get(look.pop(), [])
        found += below
        look += below
    return found
