"""The cast stands: nine people with their roles, and a worker."""

import pytest

from dosewright.ground.pure.roles import Role
from tests.cast import found_cast

pytestmark = pytest.mark.django_db


def test_cast_has_everyone_with_their_roles() -> None:
    cast = found_cast()
    assert cast.mira.roles == {Role.PRESCRIBER}
    assert cast.rosa.user_id != cast.jonas.user_id
    assert cast.worker.roles == {Role.SYSTEM}
    with pytest.raises(AttributeError):
        _ = cast.nobody
