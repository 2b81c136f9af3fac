"""Each person's main task by keyboard alone, most of them without JavaScript."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta

from playwright.sync_api import Page, expect

from tests.browser.conftest import PERSON
from tests.browser.hands import Hands
from tests.browser.house import House

DOSES = (("3 mg", "07:00"), ("2 mg", "13:00"), ("1.75 mg", "19:00"))
DAYS = "28"


def hands_of(page: Page, path: str = "/") -> Hands:
    """Open a page and lay the hands on the keyboard."""
    page.goto(path)
    return Hands(page=page)


def today() -> date:
    """Return the house's own day."""
    return datetime.now(UTC).date()


def test_signing_in_and_out(house: House, page_as: PERSON) -> None:
    page = page_as("", java_script_enabled=False)
    hands = hands_of(page, "/order")
    hands.wait_at("User name")
    page.keyboard.type("mira.voss")
    hands.type("Password", "wrong")
    hands.enter()
    expect(page.get_by_role("alert")).to_contain_text("user name and password do not fit")
    hands.wait_at("Password")
    page.keyboard.type(house.passwords["mira.voss"])
    hands.enter()
    assert page.url.endswith("/order"), "back to where the person was going"
    hands.press("Sign out", top=True)
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")


def test_the_way_past_the_top_is_the_first_stop(page_as: PERSON) -> None:
    page = page_as("rosa.keller")
    hands = hands_of(page, "/order")
    hands.past_the_top()
    assert page.evaluate("document.activeElement.id") == "main"
    second = hands.tab()
    assert second is not None
    assert page.evaluate("document.querySelector('main').contains(document.activeElement)")


def type_patient(hands: Hands) -> None:
    """Type an invented child who is not on file."""
    day = today()
    hands.type("Whose number", "urn:example:hospital-number")
    hands.type("Patient number", "BY-HAND-1")
    hands.type("Family name", "Quillfeather")
    hands.type("Given name", "Odalys")
    hands.type_date("Birth date", day - timedelta(days=7 * 365))
    hands.choose("Sex", "female")
    hands.type("Weight in kg", "20.5")
    hands.type_date("Weighed on", day - timedelta(days=3))
    hands.type("Height in cm", "115")
    hands.type_date("Height taken on", day - timedelta(days=3))
    hands.choose("Allergies", "none")
    hands.choose("Swallowing", "solids")
    for question in ("Feeding tube", "Stricture", "Pregnancy possible"):
        hands.choose(question, "no")


def type_steps(hands: Hands) -> None:
    """Type three unequal doses of a day; a step that is added has the focus, and starts and lasts as the one before."""
    (dose, at), *more = DOSES
    hands.type("Dose", dose, inside="Step 1")
    hands.type("At", at, inside="Step 1")
    hands.type_date("First day", today() + timedelta(days=7), inside="Step 1")
    hands.type("Days", DAYS, inside="Step 1")
    for number, (dose, at) in enumerate(more, start=2):
        hands.press("Add a step")
        hands.wait_at("Dose", inside=f"Step {number}")
        hands.page.keyboard.type(dose)
        hands.type("At", at, inside=f"Step {number}")


def test_a_prescriber_enters_and_signs_an_order(house: House, page_as: PERSON) -> None:
    page = page_as("mira.voss", java_script_enabled=False)
    hands = hands_of(page)
    hands.follow("Enter order")
    type_patient(hands)
    hands.select("Substance", "hydrocortisone")
    hands.choose("Intended release", "immediate")
    hands.type("Why a licensed product will not do", "no licensed tablet of 1.75 mg (invented)")
    type_steps(hands)
    hands.press("Go on to sign")
    sheet = page.get_by_role("region", name="What you sign")
    for dose, at in DOSES:
        expect(sheet).to_contain_text(dose)
        expect(sheet).to_contain_text(at)
    expect(sheet).not_to_contain_text("2.25")
    hands.type("Password", house.passwords["mira.voss"])
    hands.press("Sign: Sign")
    expect(page.get_by_role("heading", level=1)).to_contain_text("received")
    expect(page.get_by_role("status")).to_contain_text("Done")


def test_what_is_wrong_with_an_order_is_reached_from_the_summary(page_as: PERSON) -> None:
    page = page_as("mira.voss", java_script_enabled=False)
    hands = hands_of(page, "/order/new")
    hands.type("Dose", "NaN mg", inside="Step 1")
    hands.enter()
    expect(page.get_by_role("alert")).to_contain_text("This was not done")
    page.keyboard.press("Tab")
    summary = page.get_by_role("alert").get_by_role("link").filter(has_text=re.compile("Step 1, Dose"))
    text = " ".join(summary.first.inner_text().split())
    hands.to(text, tag="a")
    page.keyboard.press("Enter")
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Tab")
    stop = hands.stop()
    assert stop is not None
    assert (stop.name, stop.facts["value"]) == ("Dose", "NaN mg")
    stop.is_seen()


def test_a_pharmacist_opens_alerts_and_verifies(house: House, page_as: PERSON) -> None:
    page = page_as("rosa.keller", java_script_enabled=False)
    code = house.made["to check"]
    hands = hands_of(page)
    hands.follow(code)
    hands.follow("Open alerts")
    hands.press("Open alerts")
    reasons = page.get_by_role("link", name="Give a reason").count()
    for _ in range(reasons):
        hands.follow("Give a reason")
        hands.type("Reason", "weighed against the benefit (invented)")
        hands.press("Give a reason")
    hands.follow("Verify")
    hands.type("Password", "guessed")
    hands.press("Sign: Verify")
    expect(page.get_by_role("alert")).to_contain_text("password")
    hands.type("Password", house.passwords["rosa.keller"])
    hands.press("Sign: Verify")
    expect(page.get_by_role("heading", level=1)).to_contain_text("verified")


def test_a_technician_starts_and_weighs_a_resin_lot(house: House, page_as: PERSON) -> None:
    page = page_as("ada.brandt", java_script_enabled=False)
    hands = hands_of(page)
    hands.follow("Start a resin lot")
    hands.type("Formulation", house.made["formulation"])
    hands.type("Amount to make (g)", "40")
    hands.press("Start a resin lot")
    expect(page.get_by_role("alert")).to_contain_text("too little")
    hands.type("Amount to make (g)", "800")
    hands.press("Start a resin lot")
    expect(page.get_by_role("heading", level=1)).to_contain_text("weighing")
    sheet = page.get_by_role("region", name="Weighing sheet")
    target = sheet.get_by_role("row").nth(1).get_by_role("cell").nth(1).inner_text()
    hands.follow("Weigh")
    hands.type("Ingredient lot", house.made["ingredient lot"])
    hands.type("Weight (mg)", target.removesuffix(" mg").replace(",", ""))
    hands.type("Balance", house.made["balance"])
    hands.press("Record a weight")
    expect(sheet.get_by_role("row").nth(1)).to_contain_text("Ada Brandt")


def test_a_technician_approves_a_batch_and_records_gates(house: House, page_as: PERSON) -> None:
    page = page_as("tomas.lind", java_script_enabled=False)
    code = house.made["planned batch"]
    hands = hands_of(page)
    hands.follow(code)
    hands.follow("Approve the batch")
    hands.press("Approve the batch")
    head = page.get_by_role("heading", level=1)
    for _ in range(150):
        if "ready" in head.inner_text():
            break
        page.wait_for_timeout(200)
        page.reload()
    expect(head).to_contain_text("ready")
    hands.follow("Record a gate")
    hands.select("Gate", "line clearance")
    hands.type("Statement", "bench and printer cleared (invented)")
    hands.press("Record a gate")
    expect(page.get_by_role("status")).to_contain_text("Done")


def test_a_technician_goes_from_the_plate_map_to_a_zone(house: House, page_as: PERSON) -> None:
    page = page_as("ada.brandt", java_script_enabled=False)
    hands = hands_of(page, f"/batch/{house.made['batch']}")
    zone = page.get_by_role("region", name="Plate map").get_by_role("link").first
    hands.follow(zone.get_attribute("aria-label") or "")
    expect(page.get_by_role("heading", level=1)).to_contain_text("ZN-")


def test_a_pharmacist_releases_a_pack(house: House, page_as: PERSON) -> None:
    page = page_as("lena.fuchs", java_script_enabled=False)
    code = house.made["packed"]
    hands = hands_of(page)
    hands.follow(code)
    hands.follow("Release for supply")
    expect(page.get_by_role("region", name="What you sign")).to_contain_text(code)
    hands.type("Scanned pack", code)
    hands.type("Password", house.passwords["lena.fuchs"])
    hands.press("Sign: Release for supply")
    expect(page.get_by_role("heading", level=1)).to_contain_text("released")


def test_an_auditor_traces_verifies_and_reveals(house: House, page_as: PERSON) -> None:
    page = page_as("otto.krug", java_script_enabled=False)
    hands = hands_of(page, "/audit")
    hands.type("Action", "order.verify")
    hands.enter()
    expect(page.get_by_role("main")).to_contain_text("order.verify")
    hands.press("Verify the audit trail", tag="a")
    hands.press("Verify the audit trail")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Done")
    hands.type("Go to a code", house.made["verified"], top=True)
    hands.enter()
    expect(page.get_by_role("heading", level=1)).to_contain_text(house.made["verified"])


def test_a_site_manager_sees_printers_and_gives_a_role(house: House, page_as: PERSON) -> None:
    page = page_as("paul.berg", java_script_enabled=False)
    hands = hands_of(page)
    hands.follow("Printers", top=True)
    hands.follow(house.made["printer"])
    expect(page.get_by_role("main")).to_contain_text("laser check")
    hands.follow("People", top=True)
    expect(page.get_by_role("main")).to_contain_text("otto.krug")


def test_a_scientist_reads_the_formulation(house: House, page_as: PERSON) -> None:
    page = page_as("nora.stein", java_script_enabled=False)
    hands = hands_of(page)
    hands.follow(house.made["formulation"])
    expect(page.get_by_role("heading", level=2, name="Recipe")).to_be_visible()
    expect(page.get_by_role("main")).to_contain_text("invented, for demonstration")
