"""A Redis and a PostgreSQL that can be stopped, killed and started again on the same port with the same files."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from tests.services.servers import (
    Servers,
    answers_ping,
    call,
    database_url,
    free_port,
    make_roles,
    needed,
    password_file,
    running,
    server_folder,
    wait_until,
)


@dataclass(slots=True, kw_only=True)
class Switch:
    """A server that can be turned off and on."""

    command: list[str]
    folder: Path
    farewell: signal.Signals
    ready: list[str]
    port: int
    _life: ExitStack = field(default_factory=ExitStack)

    def on(self) -> None:
        """Start it and wait until it answers."""
        alive = self._life.enter_context(running(self.command, self.folder, self.farewell))
        wait_until(self.answers, alive, self.folder)

    def off(self) -> None:
        """Stop it: Redis in peace (it keeps nothing), PostgreSQL by its farewell."""
        self._life.close()

    def answers(self) -> bool:
        """Tell whether it answers."""
        if not self.ready:
            return answers_ping(self.port)
        return subprocess.run(self.ready, check=False).returncode == 0


@dataclass(slots=True, kw_only=True)
class Backing:
    """Both servers, switched on, with their addresses."""

    redis: Switch
    postgres: Switch
    servers: Servers

    def flush(self) -> None:
        """Empty the broker."""
        import redis

        with redis.Redis.from_url(self.servers.redis_url) as client:
            client.flushall()


@contextmanager
def backing() -> Iterator[Backing]:
    """Yield both servers; stop them and remove their files whatever happens."""
    with server_folder() as redis_folder, server_folder() as postgres_folder, ExitStack() as ends:
        redis, postgres = _redis(redis_folder), _postgres(postgres_folder)
        for one in (redis, postgres):
            ends.callback(one.off)
            one.on()
        psql = Path(needed("postgres")).with_name("psql")
        passwords = make_roles(psql, postgres.port, postgres_folder)
        servers = Servers(
            redis_url=f"redis://127.0.0.1:{redis.port}/0",
            owner_url=database_url("owner", passwords, postgres.port),
            app_url=database_url("app", passwords, postgres.port),
        )
        yield Backing(redis=redis, postgres=postgres, servers=servers)


def _redis(folder: Path) -> Switch:
    port = free_port()
    command = [needed("redis-server"), "--bind", "127.0.0.1", "--port", str(port), "--dir", str(folder)]
    command += ["--save", "", "--appendonly", "no"]
    return Switch(command=command, folder=folder, farewell=signal.SIGTERM, ready=[], port=port)


def _postgres(folder: Path) -> Switch:
    """Return a new cluster; off is SIGQUIT, which ends every session at once and recovers from the log when on."""
    program, port, data = Path(needed("postgres")), free_port(), folder / "data"
    call([program.with_name("initdb"), "-D", data, "-A", "scram-sha-256", "-U", "postgres", "-N",
          "-E", "UTF8", "--locale=C.UTF-8", "--pwfile", password_file(folder)], folder)  # fmt: skip
    command = [str(program), "-D", str(data), "-p", str(port), "-c", "listen_addresses=127.0.0.1"]
    command += ["-c", f"unix_socket_directories={folder}", "-c", "max_connections=100"]
    ready = [str(program.with_name("pg_isready")), "-q", "-h", "127.0.0.1", "-p", str(port)]
    return Switch(command=command, folder=folder, farewell=signal.SIGQUIT, ready=ready, port=port)
