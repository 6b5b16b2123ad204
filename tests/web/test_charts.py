"""The chart of a reading over the visits says what it shows and draws it in the right place."""

import itertools
import xml.etree.ElementTree as ET
from datetime import date, timedelta

import pytest

from referral.web.charts import BOTTOM, LEFT, TOP, VisitPoint, line_chart

SVG = "{http://www.w3.org/2000/svg}"
VISITS = [
    VisitPoint(date(2026, 3, 17), 4.3, 0.7),
    VisitPoint(date(2026, 1, 5), 1.2, 0.7),
    VisitPoint(date(2026, 2, 10), -2.6, 0.7),
]


def chart(points=VISITS, **given):
    return ET.fromstring(line_chart("palmar_angle_deg", "Palmar angle", "deg", points, **given))


def centres(root):
    return [(float(c.get("cx")), float(c.get("cy"))) for c in root.iter(f"{SVG}circle")]


def test_title_and_description_say_it_in_words_by_day():
    root = chart(at_least=3.0)
    assert root.find(f"{SVG}title").text == "Palmar angle over the visits"
    assert root.find(f"{SVG}desc").text == (
        "5 Jan 2026: 1.2 ± 1.4°; 10 Feb 2026: −2.6 ± 1.4°; 17 Mar 2026: 4.3 ± 1.4°. "
        "Limit: at least 3.0°."
    )
    named = root.get("aria-labelledby").split()
    assert named == [root.find(f"{SVG}title").get("id"), root.find(f"{SVG}desc").get("id")]


def test_days_run_to_the_right_in_proportion_and_values_upwards():
    (x1, y1), (x2, y2), (x3, y3) = centres(chart())
    assert (x3 - x1) / (x2 - x1) == pytest.approx(71 / 36, abs=0.01)
    assert y3 < y1 < y2
    assert (y2 - y3) / (y1 - y3) == pytest.approx(6.9 / 3.1, abs=0.02)
    assert all(TOP <= y <= BOTTOM for y in (y1, y2, y3))


def test_the_bar_is_u_twice_each_way():
    root = chart()
    per_degree = (centres(root)[1][1] - centres(root)[2][1]) / 6.9
    bar = next(p.get("d") for p in root.iter(f"{SVG}path") if "V" in p.get("d"))
    low = float(bar.split("V")[0].split()[1])
    high = float(bar.split("V")[1].split("M")[0])
    assert (low - high) / per_degree == pytest.approx(2.8, abs=0.05)


def test_the_band_lies_between_the_limits():
    root = chart(at_least=3.0, at_most=7.0)
    band = root.find(f"{SVG}rect")
    per_degree = (centres(root)[1][1] - centres(root)[2][1]) / 6.9
    assert float(band.get("height")) / per_degree == pytest.approx(4.0, abs=0.05)
    assert chart().find(f"{SVG}rect") is None


def test_resets_are_marked_in_order_by_their_numbers_on_the_case():
    root = chart(resets={3: date(2026, 2, 17), 1: date(2026, 1, 12)})
    marks = [t for t in root.iter(f"{SVG}text") if t.text.startswith("reset")]
    assert [mark.text for mark in marks] == ["reset 1", "reset 3"]
    (at_the_end,) = [
        each
        for each in chart(resets={1: VISITS[0].on}).iter(f"{SVG}text")
        if each.text == "reset 1"
    ]
    half = 6.0 * len("reset 1") / 2  # a letter is about 6 wide on this drawing
    assert float(at_the_end.get("x")) + half <= 400
    assert float(marks[0].get("x")) < float(marks[1].get("x"))


def test_one_visit_is_a_chart_and_none_is_not():
    assert len(centres(chart(VISITS[:1]))) == 1
    with pytest.raises(ValueError, match="at least one point"):
        line_chart("x", "X", "mm", [])


def test_the_weighted_line_is_drawn_with_its_interval():
    # Source: weighted linear regression, JCGM 100:2008, H.3. Equal u at equal distances: the middle
    # is the mean, u there is u / sqrt(3), at the ends sqrt(1/3 + 1/2) u (worked by hand).
    days = [date(2026, 1, 1), date(2026, 2, 1), date(2026, 3, 4)]
    points = [VisitPoint(on, v, 0.6) for on, v in zip(days, (2.0, 3.0, 4.0), strict=True)]
    root = chart(points)
    lines = [
        [tuple(map(float, at.split(","))) for at in drawn.get("points").split()]
        for drawn in root.iter(f"{SVG}polyline")
        if drawn.get("class") == "fitted"
    ]
    middle, low, high = lines
    (x1, y1), (_, _), (x3, y3) = centres(root)
    assert middle[0] == pytest.approx((x1, y1), abs=0.1)
    assert middle[-1] == pytest.approx((x3, y3), abs=0.1)
    per_unit = (y1 - y3) / 2.0
    half = len(middle) // 2
    for at, share in ((0, (1 / 3 + 1 / 2) ** 0.5), (half, (1 / 3) ** 0.5), (-1, (5 / 6) ** 0.5)):
        assert (low[at][1] - middle[at][1]) / per_unit == pytest.approx(1.2 * share, abs=0.02)
        assert (middle[at][1] - high[at][1]) / per_unit == pytest.approx(1.2 * share, abs=0.02)
    assert not [each for each in chart(points[:2]).iter() if each.get("class") == "fitted"]


def test_names_are_escaped():
    markup = line_chart("x", "<b>Bramble</b>", "mm", VISITS)
    assert "<b>" not in markup
    assert len(markup) < 5000


def test_of_sixty_visits_no_word_runs_into_another():
    days = [date(2022, 1, 5) + timedelta(weeks=5 * n) for n in range(60)]
    root = chart(
        [VisitPoint(on, 4 + n / 20, 0.7) for n, on in enumerate(days)],
        resets=dict(enumerate(days, 1)),
    )
    assert len(centres(root)) == 60
    rows: dict[str, list[tuple[float, float]]] = {"day": [], "reset": [], "value": []}
    for text in root.iter(f"{SVG}text"):
        said, x = text.text, float(text.get("x"))
        kind = "reset" if "reset" in said else "day" if said.count(" ") == 2 else "value"
        if kind == "value" and x <= LEFT:
            continue  # the numbers of the axis
        wide = 6.0 * len(said)
        before = {"middle": wide / 2, "end": wide}.get(text.get("text-anchor"), 0.0)
        rows[kind].append((x - before, x - before + wide))
    assert rows.pop("value") == []  # each would stand on the bars of the visits after it
    for spans in rows.values():
        assert len(spans) > 3
        for (_, ended), (begins, _) in itertools.pairwise(sorted(spans)):
            assert begins >= ended


def test_a_value_stands_beside_its_point_where_no_other_visit_runs_through_it():
    days = [date(2026, 1, 5) + timedelta(days=n) for n in (0, 40, 43, 46, 90)]
    root = chart([VisitPoint(on, 3.1 + n, 0.3) for n, on in enumerate(days)], at_least=3.0)
    said = [each.text for each in root.iter(f"{SVG}text")]
    shown = [f"{3.1 + n:.1f}" for n in range(5) if f"{3.1 + n:.1f}" in said]
    assert shown == ["3.1", "6.1", "7.1"]
    (limit,) = [each for each in root.iter(f"{SVG}text") if each.text == "at least 3.0"]
    assert float(limit.get("y")) < TOP
