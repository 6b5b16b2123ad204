"""The owner's summary: a case on one page, in words that need no vet to read them."""

from datetime import date

import pytest

from referral.core.measure.registry import MEASURES
from referral.sheets.plainly import READINGS, source_plainly
from tests.web.signing import at, browser_of, story_in
from tests.web.yard import a_yard, film_form, words_of

JARGON = ("palmar", "breakover", "distal", "lateromedial", "expanded uncertainty", "basis")


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def test_before_a_plan_it_says_what_was_found_and_what_is_waited_for(yard):
    yard.refer()
    page = words_of(yard.open("owner", "/summary"))
    for said in (
        "The farrier writes the plan.",
        "The toe has grown long and the heels have run forward under the foot.",
        "The vet is sure of it.",
        "Raise the heel",
        "No plan has been agreed yet.",
        "Nothing has been fitted yet.",
        "No date is set.",
        "The horse will not bear weight on the foot",
        "+44 20 7946 0000",
    ):
        assert said in page
    assert [each for each in JARGON if each in page.lower()] == []
    assert "In plain words, on one page" in words_of(yard.open("owner"))


def test_a_red_flag_stands_first_and_says_to_ring(yard):
    yard.done("owner", "/red-flags/new", "/red-flags", {"sign": "not_bearing_weight"})
    page = words_of(yard.open("owner", "/summary"))
    assert page.index("Red flag: Will not bear weight") < page.index("Where it stands")
    assert "work waits until the vet has answered it" in page


def test_after_a_reset_it_says_what_was_agreed_done_and_comes_next(app, tmp_path, clock):
    story = story_in(app, tmp_path)
    story.refer()
    story.submit()
    story.agree(1)
    story.fit(1)
    story.countersign(1)
    at(story, clock)
    owner = browser_of(app, story, "owner")
    page = words_of(owner.get("/cases/1/summary"))
    for said in (
        "The work is done and looked at",
        f"{story.cast.vet.name}, vet, on 25 Nov 2026; plan of {story.cast.farrier.name}",
        "This is to be taken off: 4 mm of horn at the toe.",
        "This was taken off: 4 mm of horn at the toe.",
        "A wedge lifts the heels by 3°",
        "120 a reset",
        "Loose shoe",
        "Walked off level",
        "Soft ground for a week",
        "1, the last on 26 Nov 2026",
        "31 Dec 2026 The farrier comes again",
        f"The foot is looked at again {story.cast.vet.name}",
    ):
        assert said in page
    assert browser_of(app, story, "other_vet").get("/cases/1/summary").status_code == 404


def test_how_it_goes_is_told_in_plain_words(yard, clock):
    yard.refer()
    path = "/notes/lameness"
    grade = {"limb": "LF", "scale": "uk", "gait": "trot_straight"}
    for on, seen in (("2026-11-02", "5"), ("2026-11-20", "2")):
        yard.done("vet", f"{path}/new", path, {**grade, "grade": seen, "happened_on": on})
    yard.readings(taken_on="2026-11-02", palmar_angle_deg="1")
    page = words_of(yard.open("owner", "/summary"))
    graded = "5 on 2 Nov 2026, then 2 on 20 Nov 2026."
    assert f"left fore, lameness, 0 to 10 (united kingdom): {graded.lower()}" in page.lower()
    assert "slope of the bone inside the hoof: Since the first visit" in page
    assert "By the figures that were written down of 2 Nov 2026 and 25 Nov 2026." in page
    assert [each for each in JARGON if each in page.lower()] == []


def test_plain_words_are_of_readings_that_there_are():
    assert set(READINGS) <= set(MEASURES)
    assert [word for each in READINGS.values() for word in JARGON if word in each] == []


def test_a_change_is_told_by_which_films_of_which_days_it_was_seen(yard):
    yard.refer()
    yard.limit(measure="breakover_distance_mm", at_most="40")
    for on in ("2026-11-02", "2026-11-20"):
        film = yard.done("vet", "/films/new", "/films", film_form(taken_on=on))
        yard.measure(film.removeprefix(yard.home))
    page = words_of(yard.open("owner", "/summary"))
    told = page.partition("how far ahead of the bone the foot rolls over: Since")[2]
    assert "By the films (X-rays) of 2 Nov 2026 and 20 Nov 2026." in told
    assert [each for each in JARGON if each in page.lower()] == []


@pytest.mark.parametrize(
    ("basis", "said"),
    [
        ("film", "By the films (X-rays) of 2 Nov 2026 and 20 Nov 2026."),
        ("photo", "By the photos of 2 Nov 2026 and 20 Nov 2026: a guide"),
        ("stated", "By the figures that were written down of 2 Nov 2026 and 20 Nov 2026."),
    ],
)
def test_each_source_has_plain_words(basis, said):
    assert source_plainly(basis, date(2026, 11, 2), date(2026, 11, 20)).startswith(said)
