"""A signature stands under exactly what was shown, given by the signer's own password, never by token."""

import pytest

from dosewright.ground.act import act
from dosewright.ground.models import Signature
from dosewright.ground.pure.canonical import canonical_text
from dosewright.ground.pure.errors import Conflict, NotAllowed
from dosewright.ground.pure.roles import Channel, Role
from dosewright.ground.signing import Pen, shown_digest, sign
from tests.ground.small_site import NOON, PASSWORD, SmallSite, small_site

pytestmark = pytest.mark.django_db
SHOWN = {"pack": "PK-1", "units": 28}


@pytest.fixture
def house() -> SmallSite:
    return small_site()


def put(house: SmallSite, pen: Pen, *, channel: Channel = Channel.PAGE, action: str = "jurisdiction.sign") -> None:
    with act(house.actor(Role.PHARMACIST, channel=channel), action, at=NOON) as doing:
        sign(doing, pen, meaning="taken into use", subject_kind="pack", subject="PK-1", subject_version=1, shown=SHOWN)


def test_it_keeps_name_time_meaning_and_the_text_shown(house: SmallSite) -> None:
    put(house, Pen(password=PASSWORD, shown_digest=shown_digest(SHOWN)))
    one = Signature.objects.get()
    assert (one.printed_name, one.at, one.meaning) == ("Person pharmacist", NOON, "taken into use")
    assert one.shown_text == canonical_text(SHOWN)


@pytest.mark.parametrize(
    ("pen", "channel", "error"),
    [
        (Pen(password="wrong", shown_digest=shown_digest(SHOWN)), Channel.PAGE, NotAllowed),
        (Pen(password=PASSWORD, shown_digest=shown_digest({"pack": "PK-1", "units": 27})), Channel.PAGE, Conflict),
        (Pen(password=PASSWORD, shown_digest=shown_digest(SHOWN)), Channel.TOKEN, NotAllowed),
    ],
)
def test_wrong_password_changed_record_and_token_are_refused(
    house: SmallSite, pen: Pen, channel: Channel, error: type[Exception]
) -> None:
    with pytest.raises(error):
        put(house, pen, channel=channel)
    assert not Signature.objects.exists()


def test_an_action_that_the_table_does_not_sign_cannot_be_signed(house: SmallSite) -> None:
    with pytest.raises(PermissionError):
        put(house, Pen(password=PASSWORD, shown_digest=shown_digest(SHOWN)), action="order.stop")
