"""The case over its visits: what is real, what is within error, what was promised."""

import re

import pytest
from sqlalchemy import select, update

from referral.clock import day_at
from referral.core.measure.registry import MEASURES
from referral.films.conventions import convention_record
from referral.films.models import ReadingRow, ReadingSet
from referral.films.phantom_foot import Foot
from tests.factories import typed_readings
from tests.web.browsing import Browser
from tests.web.signing import story_in
from tests.web.yard import a_yard, film_form, words_of


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def weeks_pass(yard, clock, weeks):
    clock.move(weeks=weeks)
    yard.browsers.clear()  # everybody signs in again


def typed(yard, clock, weeks, **values):
    weeks_pass(yard, clock, weeks)
    on = day_at(clock(), "Europe/London").isoformat()
    form = {"limb": "LF", "taken_on": on, "scale": "marker", **values}
    yard.done("vet", "/readings/new", "/readings", form)


def test_a_change_beyond_error_is_real_and_a_smaller_one_is_not(yard, clock):
    yard.limit(measure="palmar_angle_deg", at_least="3")
    typed(yard, clock, 0, palmar_angle_deg="1", heel_angle_deg="40")
    typed(yard, clock, 5, palmar_angle_deg="2,5", heel_angle_deg="41")
    typed(yard, clock, 5, palmar_angle_deg="4", heel_angle_deg="41,5")
    page = yard.open("owner", "/trends")
    said = words_of(page)
    # Stated without u: 0.72 each, so 1.96 x sqrt(2) x 0.72 = 2.0 is the least change that counts.
    assert "Since the first visit: +3.0°, a real change." in said
    assert "Since the visit before: +1.5°, within error (a change counts from 2.0°)." in said
    assert "Since the first visit: +1.5°, within error" in said
    # The line: 3 degrees in 10 weeks; u = 0.72 / sqrt(2 x 5^2) = 0.102 a week
    assert "Over all visits: 0.30 ± 0.20 ° a week." in said
    assert page.text.index("Palmar angle") < page.text.index("Heel angle")
    assert "at least 3.0" in page.text
    assert page.text.count("<svg") >= 2


def test_readings_of_an_earlier_definition_are_a_series_of_their_own(yard, clock):
    for weeks, value in enumerate(("1", "2,5", "4")):
        typed(yard, clock, 5 * weeks, palmar_angle_deg=value)
    earlier = {
        **convention_record(MEASURES["palmar_angle_deg"].convention),
        "sentence": "Best line of the lower edge, against the block.",
    }
    with yard.database.transaction() as session:
        by_day = session.scalars(select(ReadingSet).order_by(ReadingSet.taken_on)).all()
        for taken, convention in zip(by_day, (earlier, earlier, None), strict=True):
            session.execute(
                update(ReadingRow)
                .where(ReadingRow.reading_set_id == taken.id)
                .values(convention=convention)
            )
    said = words_of(yard.open("owner", "/trends"))
    assert "typed in, by another definition than today’s" in said
    assert "Since the first visit: +1.5°" in said
    assert "+3.0°" not in said
    typed(yard, clock, 5, palmar_angle_deg="6")
    with yard.database.transaction() as session:
        newest = select(ReadingSet.id).order_by(ReadingSet.taken_on.desc()).limit(1)
        session.execute(
            update(ReadingRow)
            .where(ReadingRow.reading_set_id == newest.scalar_subquery())
            .values(convention=None)
        )
    said = words_of(yard.open("owner", "/trends"))
    assert "typed in, definition not kept" in said
    assert "Since the first visit: +2.0°" in said


def test_one_visit_is_no_trend(yard, clock):
    typed(yard, clock, 0, palmar_angle_deg="1")
    assert "Two visits with readings make a trend" in words_of(yard.open("vet", "/trends"))


def test_first_and_last_photo_of_one_side_stand_side_by_side(yard, clock):
    for _ in range(2):
        on = day_at(clock(), "Europe/London").isoformat()
        form = film_form(view="side_photo", taken_on=on)
        assert yard.send("farrier", "/films/new", "/films", form).status_code == 303
        weeks_pass(yard, clock, 5)
    page = yard.open("owner", "/trends").text
    assert page.count("data-before-after>") == 1
    assert page.count("/picture.jpg") == 2


def test_what_was_promised_stands_beside_what_was_fitted(app, tmp_path, clock):
    story = story_in(app, tmp_path)
    story.refer(with_film=True)
    story.submit()
    story.agree(1)
    story.fit(1)
    page = trends_of(app, story, clock)
    assert "Promised and fitted" in page
    assert "Promised, and on the next film" not in page
    assert "Palmar angle" in page
    assert "as promised" in page
    assert "not known from its own resets yet" in page


def test_a_difference_has_its_unit_and_a_value_the_decimals_of_its_interval(app, tmp_path, clock):
    story = story_in(app, tmp_path)
    story.refer(with_film=True)
    story.submit()
    story.agree(1)
    story.fit(1, heel_trim_mm=1.5)
    page = trends_of(app, story, clock)
    said = page.split("Promised and fitted")[1].split("Growth")[0]
    assert re.search(r" −?[0-9]+\.[0-9](?:°| mm| %) apart", said)
    assert not re.search(r"[0-9] apart", said)
    values = re.findall(r"−?([0-9.]+) ± ([0-9.]+)(°| mm| %)", said)
    assert {unit for _value, _u, unit in values} >= {"°", " %"}
    # JCGM 100:2008, 7.2.6: a result is rounded to agree with its uncertainty
    assert {len(each.partition(".")[2]) for value, u, _unit in values for each in (value, u)} == {1}


def trends_of(app, story, clock, *, as_words=True):
    clock.now = story.now
    browser = Browser(app)
    with story.database.reading() as session:
        email = session.merge(story.cast.owner).email
        number = story.access(session, "vet").number
    assert browser.sign_in(email).status_code == 303
    page = browser.get(f"/cases/{number}/trends")
    return words_of(page) if as_words else page.text


def test_what_was_promised_stands_beside_what_the_next_film_measured(app, tmp_path, clock):
    story = story_in(app, tmp_path)
    story.refer(with_film=True)
    story.submit()
    story.agree(1)
    story.fit(1)
    story.film(Foot(palmar_angle_deg=9.0))  # of the day, before the trim: it shows no fitting
    story.move(days=18)
    story.film(Foot(palmar_angle_deg=9.0))  # more than two weeks from either promise's day
    assert "Promised, and on the next film" not in trends_of(app, story, clock)
    story.move(days=16)
    story.film(Foot(palmar_angle_deg=9.0))
    said = (
        trends_of(app, story, clock).split("Promised, and on the next film")[1].split("Growth")[0]
    )
    # Source: JCGM 100:2008, 5.1.2: 1.96 x sqrt((2.3 / 2)^2 + (1.1 / 2)^2) = 2.5
    assert (
        "1 LF Palmar angle when due, 31 Dec 2026 7.7 ± 2.3° 30 Dec 2026 9.0 ± 1.1° "
        "+1.3°, within error (a difference counts from 2.5°)."
    ) in said
    # 1.96 x sqrt((3.1 / 2)^2 + (1.6 / 2)^2) = 3.4
    assert "28.0 ± 1.6 mm +8.8 mm, a real difference." in said
    assert "after the fitting" not in said


def test_a_reset_is_marked_on_the_limbs_it_was_of(app, tmp_path, clock):
    story = story_in(app, tmp_path)
    story.refer()
    story.submit()
    story.agree(1)
    story.fit(1)
    for limb in ("LF", "RF", "RF"):
        story.move(days=1)
        with story.database.transaction() as session:
            typed_readings(session, story.access(session, "vet"), story.now, limb=limb)
    page = trends_of(app, story, clock, as_words=False)
    drawn = [part.split("</svg>")[0] for part in page.split("<svg ")[1:] if "chart-" in part]
    assert {("chart-LF" in each, ">reset 1<" in each) for each in drawn} == {
        (True, True), (False, False),
    }  # fmt: skip
