"""One horse from nothing to a countersigned reset, as three people in three browsers."""

import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, expect

from referral.app import create_app
from referral.clock import today_in
from referral.films.phantom import Exposure, Foot, Phantom, draw_phantom
from referral.sheets.office import authority_folder
from referral.sheets.verify import verify_pdf
from referral.storage.working import worker_beside
from tests.browser.conftest import DESK, PHONE
from tests.browser.people import Someone, someone, tap_film, type_place
from tests.factories import PASSWORD, a_cast, a_wiring

SIZE_PX = (1400, 1100)
CHIP = "826000000412703"
UELN = "826XYZ000041270"
TODAY = today_in("Europe/London")


@dataclass
class Yard:
    """The three, a stranger, and what they share."""

    vet: Someone
    farrier: Someone
    owner: Someone
    stranger: Someone
    cast: object
    settings: object
    phantom: Phantom


@pytest.fixture
def worker(database, tmp_path: Path) -> Iterator[None]:
    """Keep a real worker beside the server, on the same database and files."""
    said = f'database_url = "{database.url}"\nfiles_dir = "files"\n'
    (tmp_path / "config.toml").write_text(said)
    with worker_beside(tmp_path):
        yield


@pytest.fixture
def yard(database, tmp_path: Path, worker, serve, look) -> Yard:
    wired = a_wiring(tmp_path, database)
    with database.transaction() as session:
        cast = a_cast(session, wired.now())
    address = serve(create_app(wired.settings, wired))

    def at(person, **size: object) -> Someone:
        context: BrowserContext = look(**size)
        return someone(context, address, person.email)

    return Yard(
        vet=at(cast.vet, **DESK),
        farrier=at(cast.farrier, **PHONE),
        owner=at(cast.owner, **PHONE),
        stranger=at(cast.other_vet, **DESK),
        cast=cast,
        settings=wired.settings,
        phantom=draw_phantom(Foot(), Exposure(taken_on=TODAY)),
    )


def record_the_horse(yard: Yard) -> None:
    vet = yard.vet
    vet.go("/horses/new")
    vet.fill(name="Hazel Row", chip="826274877906944", ueln=UELN, weight_kg="540,5")
    vet.fill(owner_name="The yard's lady", owner_email=yard.cast.owner.email)
    vet.press("Record the horse")
    vet.sees("at most 274877906943")
    expect(vet.page.locator("[name=name]")).to_have_value("Hazel Row")
    vet.fill(chip=CHIP)
    vet.press("Record the horse")
    vet.sees("826 0000 0041 2703")
    vet.sees("not accepted yet")


def open_the_case(yard: Yard) -> str:
    vet = yard.vet
    vet.press("Open a case")
    vet.fill(farrier_email=yard.cast.farrier.email)
    vet.press("Open the case")
    vet.sees("Asked, not on the case")
    for asked in (yard.farrier, yard.owner):
        asked.go("/")
        asked.press("Accept")
        asked.sees("The case")
    return re.sub(r"^https?://[^/]+", "", vet.page.url)


def diagnose_and_film(yard: Yard, case: str, film: Path) -> None:
    vet = yard.vet
    vet.go(f"{case}/problems/new")
    vet.choose(limb="LF", condition="under_run_heels")
    vet.tick("certainty", "confirmed")
    vet.press("Record the problem")
    vet.go(f"{case}/films/new")
    vet.page.locator("[name=film]").set_input_files(film)
    vet.choose(limb="LF")
    vet.tick("trim", "before")
    vet.tick("shod", "no")
    vet.tick("superimposed", "yes")
    vet.press("Add it")


def measure(yard: Yard) -> None:
    page, phantom = yard.vet.page, yard.phantom
    page.wait_for_function("document.querySelector('[name=natural_width]').value !== ''")
    for slot, end in zip(("marker_a", "marker_b"), phantom.marker_ends_px, strict=True):
        page.locator(f"[data-slot='{slot}'] [data-pick]").click()
        tap_film(page, end, SIZE_PX)
    page.locator("[name=marker_length_mm]").fill(str(phantom.marker_length_mm))
    page.get_by_label("Middle plane of the foot").check()
    for name, at in phantom.landmarks_px.items():
        if isinstance(at[0], list):
            for place, point in enumerate(at[:5], start=1):
                type_place(page, f"{name}.{place}", point)
        else:
            type_place(page, name, at)
    live = page.locator("[data-readings-rows]")
    expect(live).to_contain_text("Palmar angle")
    shown = live.locator("tr", has_text="Palmar angle").locator("td").inner_text()
    value, spread = (float(each) for each in re.findall(r"\d+\.\d+", shown)[:2])
    assert abs(value - phantom.truth["palmar_angle_deg"]) <= spread
    yard.vet.press("Keep landmarks")
    yard.vet.sees("a marker of known length")


def refer(yard: Yard, case: str) -> None:
    vet = yard.vet
    vet.go(f"{case}/limits/new")
    vet.choose(measure="sole_depth_tip_mm", stage="after_fit", limb="LF")
    vet.fill(at_least="10", reason="Thin already; none of it may go.")
    vet.press("Set the limit")
    vet.go(f"{case}/referrals/new")
    vet.tick("limbs", "LF")
    vet.fill(goals="Shorter lever at the toe, palmar angle kept.")
    vet.press("Send the referral")


def write_the_plan(yard: Yard, case: str, heel_mm: str, setback_mm: str, why: str) -> None:
    farrier = yard.farrier
    farrier.go(f"{case}/plans/new")
    farrier.fill(LF__toe_trim_mm="4", LF__heel_trim_mm=heel_mm, LF__thickness_mm="8")
    farrier.fill(LF__breakover_setback_mm=setback_mm, LF__heel_extension_mm="8", words=why)
    farrier.choose(LF__category="straight_bar", recheck_owner="vet")
    farrier.fill(LF__web_mm="22", LF__interval_weeks="5", fit_on=TODAY.isoformat())
    farrier.fill(recheck_on=(TODAY + timedelta(days=36)).isoformat())


def test_a_case_goes_round_once_as_three_people(yard: Yard, tmp_path: Path):
    film = tmp_path / "LF.dcm"
    film.write_bytes(yard.phantom.dicom)
    record_the_horse(yard)
    case = open_the_case(yard)
    diagnose_and_film(yard, case, film)
    measure(yard)
    refer(yard, case)
    agree_on_the_second_plan(yard, case)
    sign_and_consent(yard, case)
    fit_and_countersign(yard, case)
    check_the_record(yard, case)
    for who in (yard.vet, yard.farrier, yard.owner):
        assert who.faults == []


def agree_on_the_second_plan(yard: Yard, case: str) -> None:
    farrier, vet = yard.farrier, yard.vet
    assert "Acknowledge the referral" in farrier.turn()
    farrier.go(case)
    farrier.press("Acknowledge the referral")
    write_the_plan(yard, case, "12", "20", "")
    preview = farrier.page.locator("[data-preview]")
    expect(preview).to_contain_text("Heel taken off in one trim: 12.0 mm, outside")
    expect(preview).to_contain_text("Palmar angle")
    farrier.press("Submit the plan")
    farrier.sees("write why you propose it all the same")
    named = farrier.page.locator("#form-fault a")
    expect(named).to_have_text("Why this plan")
    expect(farrier.page.locator("[name='LF-heel_trim_mm']")).to_have_value("12")
    farrier.fill(words="All the crushed horn at once.")
    farrier.press("Submit the plan")
    assert "Review the plan" in vet.turn()
    vet.go(f"{case}/plans/1")
    vet.fill(words="Too much for one visit.")
    vet.press("Send it back")
    write_the_plan(yard, case, "2", "24", "Half of it now, breakover back with the shoe.")
    farrier.press("Submit the plan")


def sign_and_consent(yard: Yard, case: str) -> None:
    farrier, vet, owner = yard.farrier, yard.vet, yard.owner
    vet.go(f"{case}/plans/2")
    for box in vet.page.locator("[name^=seen_][type=checkbox]").all():
        box.check()
    for box in vet.page.locator("textarea[name^=waiver_]").all():
        box.fill("Agreed with the farrier on the telephone; films again in five weeks.")
    vet.press("Agree, and look at the sheet to sign")
    vet.fill(password="not my password at all")
    vet.press("Sign")
    vet.sees("not your password")
    vet.fill(password=PASSWORD)
    vet.press("Sign")
    assert "Sign the agreed plan" in farrier.turn()
    farrier.go(case)
    farrier.press("Sign the agreed plan")
    farrier.fill(password=PASSWORD)
    farrier.press("Sign")
    assert "Consent" in owner.turn()
    owner.go(case)
    owner.press("Record consent")
    owner.tick("decision", "given")
    owner.press("Record the answer")


def fit_and_countersign(yard: Yard, case: str) -> None:
    farrier, vet = yard.farrier, yard.vet
    assert "Fit and record the reset" in farrier.turn()
    farrier.go(case)
    farrier.press("Record what was fitted")
    farrier.page.locator("[name='LF-heel_trim_mm']").fill("4.5")
    farrier.page.get_by_role("button", name="Look at the sheet, then sign").click()
    farrier.sees("Say why this differs from the plan")
    reason = farrier.page.locator(
        "[name='reason_LF.heel_trim_mm'], [name='LF-reason_heel_trim_mm']"
    )
    reason.first.fill("Loose horn came away.")
    farrier.press("Look at the sheet, then sign")
    farrier.fill(password=PASSWORD)
    farrier.press("Sign")
    assert "Countersign what was fitted" in vet.turn()
    vet.go(f"{case}/resets/1/signature")
    vet.fill(recheck_on=(TODAY + timedelta(days=35)).isoformat(), password=PASSWORD)
    vet.press("Countersign")


def check_the_record(yard: Yard, case: str) -> None:
    vet = yard.vet
    vet.go(case)
    for said in ("countersigned reset 1", "recorded consent to plan 2", "sent plan 1 back"):
        vet.sees(said)
    links = vet.page.locator("#sheets a[href$='.pdf']")
    expect(links).to_have_count(2)
    paths = [each.get_attribute("href") for each in links.all()]
    root = (authority_folder(yard.settings) / "root.pem").read_bytes()
    for path in paths:
        answer = vet.page.request.get(yard.vet.address + path)
        with ThreadPoolExecutor(1) as apart:  # the browser's own loop runs in this thread
            verdict = apart.submit(verify_pdf, answer.body(), root).result().to_dict()
        assert answer.headers["content-type"] == "application/pdf"
        assert verdict["intact"]
        assert [each["trusted"] for each in verdict["signatures"]] == [True, True]
    film = vet.page.locator("a[href*='/films/']").first.get_attribute("href")
    for path in (case, film, f"{film}/picture.jpg", *paths):
        assert yard.stranger.page.request.get(yard.stranger.address + path).status == 404
