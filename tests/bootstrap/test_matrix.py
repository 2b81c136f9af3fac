"""The bootstrap on the machines that people have: real processes and environments, wheels made here."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from pathlib import Path

import pytest

from tests.bootstrap.tree import BASE_PYTHON, Tree, make_python

pytestmark = pytest.mark.slow
UV = """#!{python}
import subprocess, sys
assert sys.argv[1:] == ["--version"] or sys.argv[1:5] == ["pip", "install", "--quiet", "--python"], sys.argv
if "--version" not in sys.argv:
    call = [{pip_python!r}, "-m", "pip", "--python", sys.argv[5], "install", *sys.argv[6:]]
    raise SystemExit(subprocess.call(call))
"""


def assert_installed(tree: Tree, outcome: object) -> None:
    """One line was said, and the command ran in a .venv that is whole."""
    assert len(outcome.lines) == 1, outcome.err
    assert "into .venv, once" in outcome.err
    assert outcome.facts["prefix"] == str(tree.root / ".venv")
    assert tree.stamp.read_text().startswith("requirements.lock python3.")


def assert_untouched(tree: Tree) -> None:
    """Nothing was made in the tree."""
    assert not (tree.root / ".venv").exists()


# ---- where nothing stands in the way


def test_bare_python_sets_itself_up_and_says_one_line(tree: Tree) -> None:
    assert_installed(tree, tree.run("demo"))


def test_second_run_is_silent(ready: Tree) -> None:
    outcome = ready.run("demo", "--once")
    assert (outcome.code, outcome.err) == (0, "")
    assert outcome.facts["argv"] == ["demo", "--once"]


def test_any_command_runs_once_it_is_set_up(ready: Tree) -> None:
    assert ready.run("serve").facts["argv"] == ["serve"]


@pytest.mark.parametrize("command", [["serve"], ["work"], ["verify_audit", "--json"], []])
def test_other_commands_never_install(tree: Tree, command: list[str]) -> None:
    outcome = tree.run(*command)
    assert outcome.code == 3
    assert "run `python3 manage.py setup`" in outcome.err
    assert len(outcome.lines) == 1
    assert outcome.out == ""
    assert_untouched(tree)


def test_exit_code_is_the_commands(ready: Tree) -> None:
    assert ready.run("demo", "exit").code == 7


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_signals_reach_the_command_itself(ready: Tree, number: signal.Signals) -> None:
    process = ready.start("demo", "wait")
    assert process.stdout is not None
    assert f'"pid": {process.pid}' in process.stdout.readline()
    process.send_signal(number)
    process.communicate(timeout=30)
    assert process.returncode == -number


def test_interpreter_options_reach_the_command(ready: Tree) -> None:
    command = [BASE_PYTHON, "-W", "error::ResourceWarning", str(ready.root / "manage.py"), "demo"]
    done = subprocess.run(command, env=ready.environment(), capture_output=True, text=True, check=True)
    assert '"flags": ["error::ResourceWarning"]' in done.stdout


# ---- installers


def test_without_ensurepip_another_pip_is_used(tree: Tree, python_with_pip: str) -> None:
    assert_installed(tree, tree.run("demo", python=python_with_pip))


def test_without_any_pip_uv_is_used(tree: Tree, python_without_pip: str, python_with_pip: str) -> None:
    programs = tree.root.parent / "programs"
    programs.mkdir()
    (programs / "uv").write_text(UV.format(python=BASE_PYTHON, pip_python=python_with_pip))
    (programs / "uv").chmod(0o755)
    assert_installed(tree, tree.run("demo", python=python_without_pip, PATH=str(programs)))


def test_without_any_installer_the_package_to_install_is_named(tree: Tree, python_without_pip: str) -> None:
    outcome = tree.run("demo", python=python_without_pip)
    assert outcome.code == 3
    assert "apt-get install python3-venv" in outcome.lines[-1]
    assert not tree.stamp.exists()


# ---- environments that are the user's


@pytest.fixture
def foreign_python(tmp_path: Path) -> str:
    """The Python of an environment that the user made, with pip."""
    subprocess.run([BASE_PYTHON, "-I", "-m", "venv", tmp_path / "foreign"], check=True)
    return str(tmp_path / "foreign" / "bin" / "python")


def test_foreign_environment_is_not_filled_but_the_printed_command_fills_it(tree: Tree, foreign_python: str) -> None:
    refused = tree.run("demo", python=foreign_python)
    assert refused.code == 3
    assert "django missing, wanted 1.0" in refused.err
    assert_untouched(tree)

    command = refused.err.split("run: ", 1)[1]
    environment = tree.environment(PATH="/usr/bin:/bin", PIP_ONLY_BINARY="")
    subprocess.run(command, shell=True, env=environment, check=True, capture_output=True)
    outcome = tree.run("demo", python=foreign_python)
    assert (outcome.code, outcome.err) == (0, "")
    assert outcome.facts["prefix"] == str(Path(foreign_python).parents[1])

    tree.lock("2.0")
    assert "django 1.0, wanted 2.0" in tree.run("serve", python=foreign_python).err
    assert_untouched(tree)


def test_installing_can_be_switched_off(tree: Tree) -> None:
    outcome = tree.run("demo", DOSEWRIGHT_BOOTSTRAP="off")
    assert outcome.code == 3
    assert "-m pip install --require-hashes" in outcome.err
    assert_untouched(tree)


def test_an_unknown_word_in_the_switch_is_refused(tree: Tree) -> None:
    outcome = tree.run("demo", DOSEWRIGHT_BOOTSTRAP="0")
    assert (outcome.code, len(outcome.lines)) == (2, 1)
    assert "accepted: on, off" in outcome.err
    assert_untouched(tree)


def test_conda_is_the_users(tree: Tree, tmp_path: Path) -> None:
    python = make_python(tmp_path / "conda")
    (tmp_path / "conda" / "conda-meta").mkdir()
    outcome = tree.run("demo", python=python)
    assert outcome.code == 3
    assert "this environment differs" in outcome.err
    assert_untouched(tree)


# ---- two at once, changes, accidents


def test_two_at_once_install_once(tree: Tree) -> None:
    both = [tree.start("demo"), tree.start("demo")]
    ends = [process.communicate(timeout=120) for process in both]
    assert [process.returncode for process in both] == [0, 0], ends
    said = "".join(err for _, err in ends)
    assert said.count("into .venv, once") == 1
    assert said.count("waiting for it") == 1


def test_changed_lock_is_noticed_and_installed(ready: Tree) -> None:
    ready.lock("2.0")
    assert ready.run("serve").code == 3
    outcome = ready.run("demo")
    assert_installed(ready, outcome)
    assert outcome.facts["version"] == "2.0"


def test_development_list_serves_both(ready: Tree) -> None:
    first = ready.run("test")
    assert "requirements-dev.lock" in first.lines[0]
    assert first.facts["argv"] == ["test"]
    again = [ready.run("test"), ready.run("demo")]
    assert [(outcome.code, outcome.err) for outcome in again] == [(0, ""), (0, "")]


def test_wrong_hash_leaves_no_stamp_and_is_repaired(tree: Tree, python_with_pip: str) -> None:
    tree.lock("1.0", digest="0" * 64)
    outcome = tree.run("demo", python=python_with_pip)
    assert outcome.code == 3
    assert "nothing was marked as done" in outcome.lines[-1]
    assert outcome.out == ""
    assert not tree.stamp.exists()
    tree.lock("1.0")
    assert_installed(tree, tree.run("demo", python=python_with_pip))


def test_a_package_without_a_hash_is_refused(tree: Tree, python_with_pip: str) -> None:
    lock = tree.root / "requirements.lock"
    lock.write_text("django==1.0\n")
    outcome = tree.run("demo", python=python_with_pip)
    assert outcome.code == 3
    assert not tree.stamp.exists()


def test_lost_stamp_decides_not_an_import(ready: Tree) -> None:
    ready.stamp.unlink()
    assert ready.run("serve").code == 3
    assert_installed(ready, ready.run("setup"))


def test_kill_during_set_up_leaves_no_stamp_and_is_repaired(tree: Tree, python_with_pip: str) -> None:
    process = tree.start("demo", python=python_with_pip)
    end = time.monotonic() + 60
    note = tree.root / ".venv.lock"
    while not (note.exists() and note.read_bytes()) and time.monotonic() < end:
        time.sleep(0.01)
    os.killpg(process.pid, signal.SIGKILL)
    process.communicate(timeout=30)
    assert note.read_bytes() == b"unfinished"
    assert not tree.stamp.exists()
    litter = tree.root / ".venv" / "half-written"
    litter.parent.mkdir(exist_ok=True)
    litter.touch()
    assert_installed(tree, tree.run("demo", python=python_with_pip))
    assert not litter.exists()


def test_a_folder_of_the_users_is_not_cleared(tree: Tree, python_with_pip: str) -> None:
    (tree.root / ".venv").mkdir()
    (tree.root / ".venv" / "letters").write_text("mine")
    outcome = tree.run("demo", python=python_with_pip)
    assert outcome.code == 3
    assert "no virtual environment" in outcome.err
    assert (tree.root / ".venv" / "letters").read_text() == "mine"


def test_guard_stops_a_loop(ready: Tree) -> None:
    outcome = ready.run("demo", DOSEWRIGHT_REEXECUTED="1")
    assert outcome.code == 3
    assert "remove it and run" in outcome.err


def test_guard_is_not_handed_on(ready: Tree) -> None:
    assert "DOSEWRIGHT_REEXECUTED" not in ready.run("demo").facts["variables"]


# ---- the user's settings


def test_settings_that_send_packages_elsewhere_are_set_aside(tree: Tree, python_with_pip: str, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    (elsewhere / "django").mkdir(parents=True)
    (elsewhere / "django" / "__init__.py").write_text("raise SystemExit('the wrong package')")
    outcome = tree.run(
        "demo",
        python=python_with_pip,
        PIP_USER="1",
        PIP_TARGET=str(elsewhere),
        PIP_PREFIX=str(elsewhere),
        PIP_REQUIRE_VIRTUALENV="1",
        PIP_NO_BINARY=":all:",
        PYTHONPATH=str(elsewhere),
    )
    assert_installed(tree, outcome)
    assert sorted(path.name for path in elsewhere.iterdir()) == ["django"]


def test_a_configuration_file_that_asks_for_user_installs_is_outranked(
    tree: Tree, python_with_pip: str, tmp_path: Path
) -> None:
    (tmp_path / "pip.conf").write_text("[install]\nuser = true\n")
    assert_installed(tree, tree.run("demo", python=python_with_pip, PIP_CONFIG_FILE=str(tmp_path / "pip.conf")))


def test_an_installer_that_put_packages_elsewhere_is_found_out(
    tree: Tree, python_with_pip: str, tmp_path: Path
) -> None:
    (tmp_path / "pip.conf").write_text(f"[install]\ntarget = {tmp_path / 'elsewhere'}\n")
    outcome = tree.run("demo", python=python_with_pip, PIP_CONFIG_FILE=str(tmp_path / "pip.conf"))
    assert outcome.code == 3
    assert "yet .venv is not as locked" in outcome.lines[-1]
    assert not tree.stamp.exists()


def test_without_network_and_wheels_it_fails_clearly(tree: Tree, python_with_pip: str) -> None:
    outcome = tree.run("demo", python=python_with_pip, DOSEWRIGHT_WHEELS="")
    assert outcome.code == 3
    assert "nothing was marked as done" in outcome.lines[-1]
    assert not tree.stamp.exists()


def test_users_index_is_used(tree: Tree, python_with_pip: str, tmp_path: Path) -> None:
    index = tmp_path / "index" / "django"
    index.mkdir(parents=True)
    wheel = next(tree.wheels.glob("django-1.0*"))
    (index / "index.html").write_text(f'<a href="{wheel.as_uri()}">{wheel.name}</a>')
    assert_installed(
        tree,
        tree.run("demo", python=python_with_pip, DOSEWRIGHT_WHEELS="", PIP_INDEX_URL=index.parent.as_uri()),
    )


def test_a_wheel_folder_that_is_not_there_is_refused(tree: Tree, tmp_path: Path) -> None:
    outcome = tree.run("demo", DOSEWRIGHT_WHEELS=str(tmp_path / "missing"))
    assert outcome.code == 2
    assert "which is no folder" in outcome.err
