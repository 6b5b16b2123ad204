"""Photos and films from the front through their pages, against hand arithmetic."""

import json
import math

import pytest

from referral.cases.queries import case_for
from referral.cases.service import SetProblem, Words, acknowledge, set_problem
from referral.films.queries import reading_sets
from tests.factories import NOW, a_limit, a_referral
from tests.web.yard import PLAN, TODAY, a_yard, film_form, landmarks_form, words_of

# On a sole photo of 3000 x 2400 px, toe to the right, lateral up; 100 mm are 1000 px: 0.1 mm/px.
SOLE = {
    "scale_a": [200, 2300],
    "scale_b": [1200, 2300],
    "heel_medial": [600, 1500],
    "heel_lateral": [600, 900],
    "toe": [1900, 1200],
    "widest_medial": [1200, 1840],
    "widest_lateral": [1200, 580],
    "frog_apex": [1400, 1200],
    "frog_widest_level": [650, 1200],
    "frog_widest_medial": [650, 1450],
    "frog_widest_lateral": [650, 950],
}
SIDE = {
    "toe": [2200, 2000],
    "heel": [900, 2000],
    "wall_proximal": [1700, 1400],
    "wall_distal": [2100, 1900],
    "fetlock_centre": [1100, 300],
    "coronet_dorsal": [1650, 1350],
    "scale_a": [200, 2300],
    "scale_b": [1200, 2300],
}
FRONT_FILM = {
    "ground_medial": [500, 2000],
    "ground_lateral": [2500, 2000],
    "p3_margin_medial": [900, 1620],
    "p3_margin_lateral": [2100, 1580],
}
MARKER = json.dumps([[2700, 600], [2700, 1200]])


@pytest.fixture
def yard(app, database):
    return a_yard(app, database)


def added(yard, view, who="farrier", **changed):
    form = film_form(view=view, **changed)
    answer = yard.send(who, "/films/new", "/films", form)
    assert answer.status_code == 303, words_of(answer)
    return answer.location.removeprefix(yard.home)


def measured(yard, film, points, who="farrier", **changed):
    form = {"landmarks": json.dumps(points), "natural_width": "2400", "natural_height": "1920"}
    yard.done(who, film, f"{film}/landmarks", {**form, **changed})
    return words_of(yard.open("owner", film))


def test_a_sole_photo_gives_the_guides_that_a_ruler_would(yard):
    film = added(yard, "sole_photo")
    page = words_of(yard.open("farrier", film))
    assert "No known length yet: angles and ratios only." in page
    page = measured(yard, film, SOLE, known_length_mm="100")
    # heels to toe 1300 px, widest 1260 px, heels to widest 600 px, 0.1 mm each
    for said in ("Foot length, photo 130.0 ±", "Foot width, photo 126.0 ±"):
        assert said in page
    assert "Heels to widest part, photo 60.0 ±" in page
    # 600 of 1300 px lie behind the widest part: 46.2 %; frog 500 over 750 px
    assert "Share behind the widest part, photo 46.2 ±" in page
    assert "Frog width to length, photo 0.67 ±" in page
    assert "guides from outside" in page
    case = words_of(yard.open("vet"))
    assert "from outside: photos and the foot itself" in case
    assert "measured a photo of LF" in case


def test_without_a_known_length_a_photo_gives_ratios_only_and_says_why(yard):
    film = added(yard, "sole_photo")
    page = measured(yard, film, SOLE)
    assert "Share behind the widest part, photo 46.2 ±" in page
    assert "Foot length, photo 130" not in page
    assert "Foot length, photo : " in page


def test_a_side_photo_gives_the_plumb_line_only_of_a_cannon_said_to_stand_vertical(yard):
    film = added(yard, "side_photo", cannon_vertical="yes")
    page = measured(yard, film, SIDE, known_length_mm="100")
    # the wall falls 500 px over 400: atan(5/4) = 51.3 degrees; fetlock 200 px before the heel
    assert "Dorsal wall angle, photo 51.3 ±" in page
    assert "Plumb line to heel, photo 20.0 ±" in page
    assert math.degrees(math.atan2(500, 400)) == pytest.approx(51.34, abs=0.01)
    other = added(yard, "side_photo", cannon_vertical="unknown")
    page = measured(yard, other, SIDE, known_length_mm="100")
    assert "Plumb line to heel, photo : " in page


def test_a_film_from_the_front_is_measured_with_its_tilt(yard):
    film = added(yard, "dorsopalmar", who="vet")
    page = measured(yard, film, FRONT_FILM, "vet", marker_ends=MARKER, marker_length_mm="60")
    # the lateral margin stands 40 px higher over 1200 px: atan(40/1200) = 1.9 degrees
    assert "1.9 ± " in page
    assert (
        yard.browser("farrier")
        .post(f"{yard.home}{film}/landmarks", {"landmarks": json.dumps(FRONT_FILM)})
        .status_code
        == 403
    )


def test_how_far_the_outside_guide_is_from_the_joint_is_said(yard):
    film = added(yard, "lateromedial", who="vet")
    yard.measure(film)
    measured(yard, added(yard, "sole_photo"), SOLE, known_length_mm="100")
    case = words_of(yard.open("farrier"))
    assert "the widest part of the foot lies" in case
    assert "mm in front of the centre of the coffin joint" in case or (
        "mm behind the centre of the coffin joint" in case
    )


def test_a_photos_readings_never_stand_in_for_a_films(yard):
    yard.refer()
    before = words_of(yard.open("farrier", "/plans/new"))
    assert before
    measured(yard, added(yard, "side_photo", cannon_vertical="yes"), SIDE, known_length_mm="100")
    preview = yard.browser("farrier").post(f"{yard.home}/plan-previews", PLAN)
    said = words_of(preview)
    # the typed readings say 47 degrees for the wall; the photo's 51.3 stands apart
    assert "Dorsal wall angle 47.0 ±" in said
    assert "Dorsal wall angle, photo" not in said


def test_where_there_is_no_film_a_plan_rests_on_the_guides(yard):
    measured(yard, added(yard, "side_photo", cannon_vertical="yes"), SIDE, known_length_mm="100")
    with yard.database.transaction() as session:
        vet = case_for(session, yard.cast.vet.id, yard.number)
        problem = SetProblem("LF", "under_run_heels", "confirmed", None, NOW.date())
        set_problem(session, vet, problem, NOW)
        a_limit(session, vet)
        a_referral(session, vet)
        farrier = case_for(session, yard.cast.farrier.id, yard.number)
        acknowledge(session, farrier, Words(None, NOW.date()), NOW)
    answer = yard.browser("farrier").post(f"{yard.home}/plan-previews", PLAN)
    assert answer.status_code == 200
    said = words_of(answer)
    assert "Dorsal wall angle, photo no prediction 51.3 ±" in said
    assert "cannot be checked" in said  # the limit on the palmar angle: no photo gives it


def test_a_marker_nearer_the_tube_is_put_right_and_needs_its_distances(yard):
    film = added(yard, "lateromedial", who="vet")
    form = landmarks_form(marker_plane="tube_side")
    answer = yard.send("vet", film, f"{film}/landmarks", form)
    assert answer.status_code == 422
    assert "A marker off the middle needs each of these distances." in words_of(answer)
    form |= {"marker_offset_mm": "65", "sid_mm": "700", "oid_mm": "80"}
    yard.done("vet", film, f"{film}/landmarks", form)
    page = words_of(yard.open("vet", film))
    assert "The marker lay nearer the tube than the middle of the foot; that is put right." in page
    # Similar triangles: tube to foot 620, tube to marker 555, so mm a pixel times 620 / 555;
    # the marker is 60 mm over 700 px
    assert f"{60 / 700 * 620 / 555:.4g} ×" in page
    yard.done("vet", film, f"{film}/landmarks", landmarks_form(marker_plane="unknown"))
    page = words_of(yard.open("vet", film))
    assert "only estimated from distances" in page


def test_distances_without_a_plates_spacing_are_refused(yard):
    film = added(yard, "lateromedial", who="vet")
    form = {"landmarks": "{}", "detector_sid_mm": "700", "detector_oid_mm": "80"}
    answer = yard.send("vet", film, f"{film}/landmarks", form)
    assert answer.status_code == 422
    assert "The file says nothing of its plate's spacing" in answer.text.replace("&#39;", "'")


def test_how_a_film_was_taken_is_shown_with_what_it_makes_doubtful(yard):
    film = added(yard, "lateromedial", who="vet", on_blocks="no", days_since_trim="40")
    page = words_of(yard.open("farrier", film))
    assert "Both feet on blocks of one height No" in page
    assert "Beam at the height of the sole Not said" in page
    assert "The feet did not stand on blocks" in page
    assert "The foot has grown for 40 days" in page
    assert "Not said of this picture:" in page


def mirror(at):
    return [mirror(each) for each in at] if isinstance(at[0], list) else [3000 - at[0], at[1]]


def test_a_toe_that_points_the_other_way_than_on_the_film_before_is_said(yard, clock):
    first = added(yard, "lateromedial", who="vet")
    yard.measure(first)
    clock.move(days=1)
    yard.browsers.clear()
    second = added(yard, "lateromedial", who="vet", taken_on="2026-11-26")
    placed = json.loads(landmarks_form()["landmarks"]).items()
    mirrored = {name: mirror(at) for name, at in placed}
    page = measured(yard, second, mirrored, "vet")
    assert "one is mirrored, or of the other limb" in page


def test_strangers_and_owners(yard):
    film = added(yard, "sole_photo")
    for path in (film, f"{film}/picture.jpg"):
        assert yard.open("other_farrier", path).status_code == 404
    form = {"landmarks": json.dumps(SOLE)}
    assert yard.browser("owner").post(f"{yard.home}{film}/landmarks", form).status_code == 403
    assert TODAY in yard.open("owner", "/films/new").text


def test_a_photo_in_between_does_not_hide_that_a_bone_changed(yard, clock):
    first = added(yard, "lateromedial", who="vet")
    yard.measure(first)
    clock.move(days=1)
    yard.browsers.clear()
    measured(yard, added(yard, "sole_photo", taken_on="2026-11-26"), SOLE, known_length_mm="100")
    clock.move(days=1)
    yard.browsers.clear()
    second = added(yard, "lateromedial", who="vet", taken_on="2026-11-27")
    places = json.loads(landmarks_form()["landmarks"])
    places["p3_palmar_process"] = [1150, 1640]  # 60 px higher over 750: 4.5 degrees steeper
    clock.move(minutes=1)
    yard.done("vet", second, f"{second}/landmarks", landmarks_form(landmarks=json.dumps(places)))
    with yard.database.reading() as session:
        sets = reading_sets(session, case_for(session, yard.cast.vet.id, yard.number).case_id, "LF")
    assert "bone_angle_changed" in [each["code"] for each in sets[0][0].warnings]
    says = "which one bone does not do: look at the landmarks again, or at remodelling."
    for who in ("vet", "farrier", "owner"):
        assert says in words_of(yard.open(who, second))
    assert says not in words_of(yard.open("owner", first))
    vet = yard.browser("vet")
    vet.get(yard.home + second)
    live = vet.client.post(
        f"{yard.home}{second}/reading-previews",
        json={"landmarks": places},
        base_url=vet.base_url,
        headers={"X-CSRF-Token": vet.token},
    )
    assert any(says in each for each in live.json["warnings"])


def test_an_oblique_film_from_the_front_says_so(yard):
    film = added(yard, "dorsopalmar", who="vet", superimposed="no")
    page = measured(yard, film, FRONT_FILM, "vet")
    assert "The film is oblique: widths along the ground read too small" in page
    assert "Square to the foot No" in page
    unsaid = added(yard, "dorsopalmar", who="vet", superimposed="unknown")
    page = words_of(yard.open("farrier", unsaid))
    assert "Square to the foot Not said" in page
    assert "whether the film is square to the foot" in page
