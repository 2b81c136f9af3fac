"""Trees and Pythons that several tests share."""

from pathlib import Path

import pytest

from tests.bootstrap.tree import Tree, copy_of, make_python, make_tree


@pytest.fixture
def tree(tmp_path: Path) -> Tree:
    """A tree on which nothing was done."""
    return make_tree(tmp_path)


@pytest.fixture(scope="session")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Tree:
    """A tree that was set up by `demo`; not to be changed."""
    tree = make_tree(tmp_path_factory.mktemp("made-once"))
    outcome = tree.run("demo")
    assert outcome.code == 0, outcome.err
    return tree


@pytest.fixture
def ready(made_once: Tree, tmp_path: Path) -> Tree:
    """A copy of the tree that was set up."""
    return copy_of(made_once, tmp_path)


@pytest.fixture(scope="session")
def python_without_pip(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A Python as a bare Debian has it: no ensurepip, no pip."""
    return make_python(tmp_path_factory.mktemp("bare"))


@pytest.fixture(scope="session")
def python_with_pip(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A Python with pip and no ensurepip."""
    return make_python(tmp_path_factory.mktemp("pip"), pip=True)
